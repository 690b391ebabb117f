"""Write the demo delivery under a temporary name and rename it when it is complete."""

from __future__ import annotations

import contextlib
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import soundfile

from qc.audio.container.digests import sha256_of
from qc.demo.planted import Planted
from qc.demo.release import CATALOGUE, TITLE, DemoSide, bad_side, good_side
from qc.demo.voices import RATE
from qc.files.atomic_write import settle, unfinished_folder
from qc.model.errors import OutputError, UsageError
from qc.model.quantity import clock
from qc.text.sanitize import shown

DELIVERY = "delivery.yaml"
HEAD = f"""\
# A small release that was never recorded: sidegate demo made it, by code. Side A is good. Side B is not, on purpose.
schema: 1
title: {TITLE}
catalogue: {CATALOGUE}
disc: {{size: 7in, speed: 45}}
sides:
"""


def refuse(folder: Path) -> None:
    """Raise UsageError, one sentence, for a place where no demo can be made."""
    name, parent = shown(str(folder)), Path(os.path.realpath(folder)).parent
    try:
        if os.path.lexists(folder) and not folder.is_dir():
            raise UsageError(f"demo: {name} is no folder; name one that is empty or not there yet")
        if folder.is_dir():
            if any(folder.iterdir()):
                judge = f"judge what is there with sidegate check {name}, or " if (folder / DELIVERY).is_file() else ""
                raise UsageError(
                    f"demo: the folder {name} is not empty; {judge}name one that is empty or not there yet"
                )
            writable = folder
        else:
            writable = parent
            if not parent.is_dir():
                raise UsageError(f"demo: there is no folder {shown(str(folder.parent))}; make it first")
    except OSError as error:
        raise UsageError(f"demo: {name} cannot be used ({error.strerror}); name another folder") from None
    if not os.access(writable, os.W_OK | os.X_OK):
        raise UsageError(f"demo: the folder {shown(str(writable))} may not be written; name another place")


def make(folder: Path) -> tuple[Planted, ...]:
    """Render the release into a folder that is empty or not there yet, and return the faults it was made with.

    Whatever goes wrong, nothing half-made stays. Raises UsageError for a folder that cannot be used, OutputError for
    one that cannot be written.
    """
    refuse(folder)
    real = Path(os.path.realpath(folder))
    there = real.is_dir()
    try:
        with unfinished_folder(real if there else real.parent) as unfinished:
            planted = _written(unfinished)
            settle(unfinished)
            if there:
                _move(unfinished, real)
            else:
                unfinished.rename(real)
    except (OSError, soundfile.SoundFileError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise OutputError(f"{shown(str(folder))} cannot be written: {why}; name another place") from None
    return planted


def _move(unfinished: Path, folder: Path) -> None:
    """Move all files into a folder of the user's, which keeps its permissions: the delivery file last, or none."""
    placed: list[Path] = []
    try:
        for file in sorted(unfinished.iterdir(), key=lambda file: file.suffix == ".yaml"):
            placed.append(folder / file.name)
            file.rename(placed[-1])
        placed.clear()
    finally:
        with contextlib.suppress(OSError):
            for path in placed:
                path.unlink(missing_ok=True)


def _written(folder: Path) -> tuple[Planted, ...]:
    """Render and write both sides in parallel, then the delivery file; return the planted faults."""
    with ThreadPoolExecutor(2) as threads:
        entries, planted = zip(*threads.map(lambda make: _side(folder, make()), (good_side, bad_side)), strict=True)
    (folder / DELIVERY).write_text(HEAD + "".join(entries), encoding="utf-8")
    return tuple(fault for faults in planted for fault in faults)


def _side(folder: Path, side: DemoSide) -> tuple[str, tuple[Planted, ...]]:
    """Write a side's audio; return its entry in the delivery file and its faults."""
    file = folder / f"side-{side.id.lower()}.wav"
    soundfile.write(file, side.samples.T, RATE, subtype="PCM_24")
    return _entry(side, file.name, sha256_of(file)), side.planted


def _entry(side: DemoSide, file: str, digest: str) -> str:
    """Return the entry of a side in the delivery file."""
    lines = [f"  - id: {side.id}", f"    audio: {file}", f"    sha256: {digest}"]
    if side.cut_level:
        lines.append(f"    cut_level: {side.cut_level}")
    lines += [f"    inscription: {CATALOGUE} {side.id}", "    tracks:"]
    for number, track in enumerate(side.tracks, start=1):
        times = f'start: "{clock(track.start)}", end: "{clock(track.end)}"'
        lines.append(f"      - {{number: {number}, title: {track.piece.title}, {times}}}")
    return "\n".join(lines) + "\n"
