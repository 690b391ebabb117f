"""Write deliveries for tests, audio files with a delivery.yaml, and judge them."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

SUFFIXES = {"WAV": ".wav", "RF64": ".wav", "AIFF": ".aiff", "FLAC": ".flac"}


@dataclass(frozen=True)
class Sent:
    """A side to deliver: samples (2, frames), or (frames,) for mono, full scale 1.0, and its keys in the delivery file.

    `tracks` are (start_s, end_s) pairs, by default one track over the whole side; `more` are further keys of the side,
    such as {"cut_level": "-3 dB"}.
    """

    samples: NDArray[np.float64]
    rate: int = 48_000
    tracks: Sequence[tuple[float, float]] | None = None
    container: str = "WAV"
    coding: str = "FLOAT"
    more: Mapping[str, Any] = field(default_factory=dict)
    changed: str = ""
    """modification date of the file, 2026-03-02; today by default"""


def deliver(folder: Path, sides: Mapping[str, Sent], *, size: str = "12in", speed: int = 33) -> Path:
    """Write a delivery into a folder, which is created where needed, and return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = [
        "schema: 1",
        "title: Quiet Harbour",
        "catalogue: QH-001",
        f"disc: {{size: {size}, speed: {speed}}}",
    ]
    lines.append("sides:")
    for name, side in sides.items():
        file = f"side-{name.lower()}{SUFFIXES[side.container]}"
        soundfile.write(folder / file, side.samples.T, side.rate, format=side.container, subtype=side.coding)
        if side.changed:
            then = datetime.fromisoformat(f"{side.changed}T12:00:00").timestamp()
            os.utime(folder / file, (then, then))
        lines += [f"  - id: {name}", f"    audio: {file}"]
        lines += [f"    {key}: {json.dumps(value)}" for key, value in side.more.items()]
        tracks = [(0.0, side.samples.shape[-1] / side.rate)] if side.tracks is None else side.tracks
        if tracks:
            lines.append("    tracks:")
        for number, (start, end) in enumerate(tracks, start=1):
            lines.append(f'      - {{number: {number}, title: "No. {number}", start: {start!r}, end: {end!r}}}')
    (folder / "delivery.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


@dataclass(frozen=True)
class JudgedReport:
    """A report read back from JSON, with the command's exit code."""

    code: int
    report: dict[str, Any]

    def side(self, name: str = "A") -> dict[str, Any]:
        """Return the report of one side."""
        found: dict[str, Any] = next(side for side in self.report["sides"] if side["id"] == name)
        return found

    def value(self, measurement: str, side: str = "A") -> float:
        """Return a measured number in its own unit; raises KeyError when it was not measured."""
        return float(self.side(side)["measurements"][measurement]["value"])

    def outcome(self, check: str, side: str = "A") -> str:
        """Return the outcome of a check on a side."""
        return str(self.result(check, side)["outcome"])

    def result(self, check: str, side: str = "A") -> dict[str, Any]:
        """Return the whole result of a check on a side."""
        found: dict[str, Any] = next(
            result for result in self.report["results"] if result["check"] == check and result["side"] == side
        )
        return found


def judge(delivery: Path, out: Path, *words: str) -> JudgedReport:
    """Run `sidegate check DELIVERY --out json=OUT` with more arguments, in this process, and read the report.

    The audio is always measured, and nothing is stored, unless `words` contain --cache FOLDER.
    """
    from qc.cli.main import main

    store = [] if "--cache" in words else ["--no-cache"]
    code = main(["check", str(delivery), "--out", f"json={out}", *store, *words])
    return JudgedReport(code, json.loads(out.read_text(encoding="utf-8")))
