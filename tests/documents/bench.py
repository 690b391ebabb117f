"""A folder in which what the pages show is tried, with a small delivery in it; one for each page."""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
from pathlib import Path

import numpy as np

from documents.pages import ROOT
from qc.cli.main import main
from qc.testing.deliveries import Sent, deliver
from support.signals import tone

TRIED = {"check": (0, 1), "plan": (0,)}
"""Exit codes of a command that was shown and works; of every other one it is 0."""


def small_delivery(folder):
    """Two sides of 3 s that nothing is very wrong with."""
    sides = {name: Sent(0.2 * np.vstack([tone(hz, 3.0, 48_000)] * 2)) for name, hz in (("A", 400.0), ("B", 500.0))}
    return deliver(folder, sides)


class Bench:
    """Runs commands in its folder; what a page shows as files is written there under its name."""

    def __init__(self, folder, delivery):
        self.folder, self._delivery = folder, delivery
        folder.mkdir()
        for audio in delivery.glob("*.wav"):
            shutil.copy(audio, folder)

    def keep(self, name, text):
        """Write a file that a page shows, for commands further down the page."""
        (self.folder / name).parent.mkdir(parents=True, exist_ok=True)
        (self.folder / name).write_text(text, encoding="utf-8")

    def delivered(self, name):
        """See to it that a delivery lies where a command of a page looks for it."""
        place = (self.folder / name).resolve()
        assert place.is_relative_to(self.folder.resolve()), f"{name} leads out of the folder"
        if not place.exists():
            shutil.copytree(self._delivery, place)

    def run(self, words, asked):
        """Run `sidegate` in this process; gives what it wrote on stdout."""
        if asked.command in {"check", "plan"}:
            self.delivered(asked.delivery)
        out, err = io.TextIOWrapper(io.BytesIO(), encoding="utf-8"), io.StringIO()
        before, sys.stdout = sys.stdout, out
        try:
            with contextlib.chdir(self.folder), contextlib.redirect_stderr(err):
                code = main(words)
        finally:
            sys.stdout = before
        out.flush()
        assert code in TRIED.get(asked.command, (0,)), f"sidegate {' '.join(words)} ended with {code}: {err.getvalue()}"
        return out.buffer.getvalue().decode()


def in_the_sources(name):
    """Give a path of the sources; fails when there is none."""
    place = ROOT / name
    assert place.exists(), f"{name} is not there"
    return Path(place)
