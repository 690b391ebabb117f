"""The command as people run it: a process of its own, timed, with a folder for what it writes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile
from jsonschema import Draft202012Validator

from qc.report.schemas import generated

SCRIPT = Path(sys.executable).with_name("sidegate")
COMMAND = [str(SCRIPT)] if SCRIPT.is_file() else [sys.executable, "-m", "qc"]
LONGEST = 5.0
"""s that a command may take over a small delivery, once the kernels are compiled"""
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


class Bench:
    """A delivery folder, a folder for output beside it, and the command."""

    def __init__(self, folder):
        self.folder, self.output = folder / "delivery", folder / "out"
        self.folder.mkdir()
        self.output.mkdir()
        self.report = self.output / "report.json"

    def deliver(self, text=DELIVERY, *, audio=True, name="delivery.yaml"):
        """Write the delivery file, and two good sides unless told otherwise."""
        data = text if isinstance(text, bytes) else text.encode()
        (self.folder / name).write_bytes(data)
        if audio:
            for side in ("a", "b"):
                soundfile.write(self.folder / f"side-{side}.wav", programme(), RATE, subtype="PCM_24")
        return self.folder / name

    def run(self, *words, **more):
        """Run `sidegate` with words; its working folder is the delivery's own."""
        started = time.monotonic()
        done = subprocess.run(
            [*COMMAND, *map(os.fspath, words)], capture_output=True, check=False, cwd=self.folder,
            stdin=subprocess.DEVNULL, timeout=60, **more,
        )  # fmt: skip
        seconds = time.monotonic() - started
        report = json.loads(self.report.read_bytes(), parse_constant=no_constant) if self.report.exists() else {}
        ran = Ran(
            done.returncode,
            done.stdout,
            done.stderr.decode(),
            seconds,
            sorted(path.name for path in self.output.iterdir()),
            report,
        )
        assert "Traceback" not in ran.err
        assert b"Traceback" not in ran.out
        assert "the tool itself failed" not in ran.err
        return ran

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
