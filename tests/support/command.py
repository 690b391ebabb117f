"""The command at a bench: timed, with a folder for what it writes, and nothing else changed.

It runs in the process of the tests, which saves a start each time; tests/cli/test_process.py holds a process of its own
against it. What is about processes (signals, streams, the start) takes COMMAND instead.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import resource
import signal
import sys
import tempfile
import time
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

from qc.cli import main
from qc.schemas.build import generated

SCRIPT = Path(sys.executable).with_name("sidegate")
COMMAND = [str(SCRIPT)] if SCRIPT.is_file() else [sys.executable, "-m", "qc"]
LONGEST = 5.0
"""s of the processor that a command may take over a small delivery, once the kernels are compiled"""
HUNG = 60.0
"""s on the clock after which a command counts as hung: another load on the machine is no fault of it"""
RATE = 48_000
SCHEMA = Draft202012Validator(json.loads(generated("report")))

DELIVERY = """\
schema: 1
title: Quiet Harbour
disc: {size: 12in, speed: 33}
sides:
  - id: A
    audio: side-a.wav
    cut_level: 0 dB
    tracks:
      - {number: 1, title: Slack Water, start: 0, end: 1.0}
      - {number: 2, title: Bell Buoy, start: 1.0, end: 2.0}
  - id: B
    audio: side-b.wav
    cut_level: 0 dB
"""
PINNED = DELIVERY + "ruleset: disc-12in-33@1.0.0\n"
"""held against the groove alone: two bare seconds have no layout to pass"""
AUDIO_LINE = 1 + DELIVERY.splitlines().index("    audio: side-a.wav")


def programme(seconds=2.0, rate=RATE, peak=0.25):
    """Three partials that every limit allows at 0 dB, (frames, 2)."""
    t = np.arange(round(seconds * rate)) / rate
    ends = np.clip(np.minimum(t, t[::-1]) / 0.1, 0.0, 1.0)
    waves = sum(np.sin(2.0 * np.pi * hz * t + hz) / 3.0 for hz in (196.0, 440.0, 880.0))
    return np.column_stack([waves, 0.9 * waves]) * (peak * ends)[:, None]


@dataclass(frozen=True)
class Ran:
    """What became of one run of the command."""

    code: int
    out: bytes
    err: str
    seconds: float
    """of the processor, user and system"""
    left: list[str] = field(default_factory=list)
    """names of everything in the folder for output"""
    report: dict = field(default_factory=dict)

    @property
    def sentences(self):
        return self.err.splitlines()

    def result(self, check, side="A"):
        return next(r for r in self.report["results"] if r["check"] == check and r["side"] == side)

    def outcomes(self, side):
        return {r["check"]: r["outcome"] for r in self.report["results"] if r["side"] == side}


def no_constant(text):
    raise AssertionError(f"{text} is no JSON")


def processor_seconds():
    """Give the processor time, s, of all children that have ended so far, user and system."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def asked_for(words):
    """Give the places that words such as `--out json=PATH` name; of `init` the draft, wherever it goes."""
    if list(words[:1]) == ["init"]:
        given = [word for before, word in pairwise(words) if before == "--out"]
        return [*given, *(f"{place}/delivery.yaml" for place in (given or ["."]))]
    places = [word.partition("=")[2] for before, word in pairwise(words) if before == "--out"]
    return [place for place in places if place not in {"", "-"}]


@contextlib.contextmanager
def surroundings(folder, environment, umask):
    """What a process has of its own: working folder, variables, place for temporary files, mask, answers to signals."""
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGALRM)
    handlers = {number: signal.getsignal(number) for number in numbers}
    mask = None if umask is None else os.umask(umask)
    try:
        with (
            contextlib.chdir(folder or Path.cwd()),
            mock.patch.dict(os.environ, environment or os.environ, clear=True),
            mock.patch.object(tempfile, "tempdir", (environment or {}).get("TMPDIR")),
            mock.patch.object(sys, "unraisablehook", sys.unraisablehook),
        ):
            yield
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)
        if mask is not None:
            os.umask(mask)


def called(words, *, folder=None, environment=None, umask=None, at_most=HUNG):
    """Run `sidegate` with words in this process; return the exit code, stdout as bytes, and stderr as text."""
    out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    err = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="backslashreplace")
    with (
        surroundings(folder, environment, umask),
        Path(os.devnull).open(encoding="utf-8") as nothing,
        mock.patch.multiple(sys, stdin=nothing, stdout=out, stderr=err),
    ):
        signal.signal(signal.SIGALRM, lambda *_: pytest.fail(f"sidegate {words} takes more than {at_most} s"))
        signal.setitimer(signal.ITIMER_REAL, at_most)
        try:
            code = main.main(list(words))
        except SystemExit as ended:
            code = ended.code or 0
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0.0)
    written = []
    for stream in (out, err):
        stream.flush()
        written.append(stream.buffer.getvalue())
    assert not any(b"Traceback" in text or b"the tool itself failed" in text for text in written), written
    return code, written[0], written[1].decode()


class Bench:
    """A delivery folder, folders for output and for temporary files beside it, and the command.

    Whatever runs here may write the reports it was requested, and change, add or leave nothing else in any of them.
    """

    def __init__(self, folder):
        self.root, self.folder, self.output, self.temporary = folder, *(folder / n for n in ("delivery", "out", "tmp"))
        for each in (self.folder, self.output, self.temporary):
            each.mkdir()
        self.report = self.output / "report.json"
        self.environment = os.environ | {"TMPDIR": str(self.temporary)}
        self.store = Path(self.environment["SIDEGATE_STORE"])

    def deliver(self, text=PINNED, *, audio=True, name="delivery.yaml"):
        """Write the delivery file, and two good sides unless told otherwise."""
        data = text if isinstance(text, bytes) else text.encode()
        (self.folder / name).write_bytes(data)
        if audio:
            for side, peak in (("a", 0.25), ("b", 0.24)):  # the same audio twice would be a fault
                soundfile.write(self.folder / f"side-{side}.wav", programme(peak=peak), RATE, subtype="PCM_24")
        return self.folder / name

    def everything(self):
        """Give every path under the bench, with what would tell of a change to a file."""
        found = {}
        for folder, folders, files in os.walk(self.root):
            for path in (Path(folder) / name for name in folders + files):
                at = path.lstat()
                found[path] = None if path.is_dir() else (at.st_ino, at.st_size, at.st_mtime_ns)
        return found

    @contextlib.contextmanager
    def watched(self, *asked):
        """Watch the bench: nothing may be new, changed or gone afterwards but the places asked for."""
        meant = {Path(os.path.realpath(self.folder / place)) for place in asked}
        before = self.everything()
        yield
        after = self.everything()
        strewn = [p for p in before.keys() | after.keys() if before.get(p, 0) != after.get(p, 0) and p not in meant]
        assert strewn == []

    def run(self, *words, umask=None):
        """Run `sidegate` with words; its working folder is the delivery's own."""
        words = [os.fsdecode(word) for word in words]
        with self.watched(*asked_for(words)):
            before = time.process_time()
            code, out, err = called(words, folder=self.folder, environment=self.environment, umask=umask)
            seconds = time.process_time() - before
        report = json.loads(self.report.read_bytes(), parse_constant=no_constant) if self.report.exists() else {}
        return Ran(code, out, err, seconds, sorted(path.name for path in self.output.iterdir()), report)

    def check(self, *words, delivery=None, **more):
        """Run `sidegate check` for a JSON report; it must not take long, nor leave anything but the report."""
        self.report.unlink(missing_ok=True)
        ran = self.run("check", delivery or self.folder, "--out", f"json={self.report}", *words, **more)
        assert ran.seconds < LONGEST
        assert not ran.report or SCHEMA.is_valid(ran.report)
        assert ran.left == ([] if ran.code == 2 else ["report.json"]), ran.err
        return ran


def one_sentence(ran):
    """Give the one sentence of a run that was refused: no report, exit code 2."""
    assert ran.code == 2, ran.err
    assert ran.out == b""
    assert ran.left == []
    assert ran.seconds < LONGEST
    assert len(ran.sentences) == 1, ran.err
    assert ran.err.startswith("sidegate")
    assert ran.err.endswith("\n")
    return ran.sentences[0]


def heed_interrupts():
    """Let a child heed SIGINT, also where these tests run in the background of a shell."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
