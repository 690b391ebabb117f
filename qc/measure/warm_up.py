"""The first run on a machine: the measuring code is compiled in two processes at once, before anything is heard.

The compiler works in one thread at a time. So a second process hears a second of noise as wall motion and with what the
plugins measure, while this one works a groove out; each leaves what it compiled in the cache, where this one finds it.
Whatever goes wrong here costs time only, since everything is compiled when it is first called anyway.
"""

from __future__ import annotations

import contextlib
import importlib
import random
import subprocess
import sys
import tempfile
import wave
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from qc.audio.pipeline.plan import plan
from qc.audio.pipeline.process import default_workers, hear
from qc.audio.source import BLOCK, FileSource
from qc.dsp.kernels import cache as kernel_cache
from qc.groove.level.side_at_level import WorkedSide
from qc.groove.signal.band_limit import Topped
from qc.groove.signal.programme import WINDOWS_A_SECOND, ProgrammeBounds
from qc.groove.signal.sector_envelopes import MARGIN, envelopes_of
from qc.groove.signal.wall_motion import Motion
from qc.model.cutting_chain import Chain
from qc.plugin_api import Need, Stream
from qc.plugin_host.host import Host

RATE = 96_000
FRAMES = BLOCK + RATE // 2
"""More than one block, so that what goes on from block to block is compiled too."""


def warm(host: Host) -> None:
    """Compile everything that measures: the motion and the plugins' needs in another process, the groove in this one.

    The other process may take longer by the time limit of one call: a plugin that does not end is named when the side
    is processed.
    """
    if not (sys.executable and kernel_cache.LASTING and default_workers() > 1):
        return
    with contextlib.suppress(Exception), tempfile.TemporaryDirectory(prefix="sidegate-") as folder:
        noise = Path(folder) / "noise.wav"
        _write(noise)
        # -P: the folder it runs in may be a delivery, and nothing in that is to be imported
        names = [f"{need.__module__}:{need.__qualname__}" for need in host.needs]
        command = [sys.executable, "-P", "-c", "from qc.measure.warm_up import beside; beside()", str(noise), *names]
        with subprocess.Popen(  # noqa: S603 - this program itself
            command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as other:  # fmt: skip
            try:
                _groove()
                other.wait(host.runner.time_limit_s)
            except BaseException:
                other.kill()
                raise


def beside() -> None:
    """Do the other process's part: the wall motion, then the needs named on its command line."""
    noise, *names = sys.argv[1:]
    stream = Stream(source="noise", rate=RATE, channels=2, frames=FRAMES)
    signal = Chain().signal
    topped = Topped(signal.top).start(stream).push(np.zeros((2, RATE // 10)))
    Motion(signal).start(stream).push(topped)
    needs = []
    for name in names:
        module, _, inside = name.partition(":")
        with contextlib.suppress(Exception):
            needs.append(getattr(importlib.import_module(module), inside))
    _hear(Path(noise), needs)


def _groove() -> None:
    """Do this one's: a groove of motion that nobody heard, since the other one has yet to compile what gives it."""
    chain = Chain()
    motion = np.random.default_rng(1).normal(0.0, 1e-6, (4, RATE + 2 * MARGIN))
    envelopes = envelopes_of(motion, RATE, chain.signal)
    heard = ProgrammeBounds.of(np.full((2, FRAMES * WINDOWS_A_SECOND // RATE), 0.01, np.float32), FRAMES / RATE)
    WorkedSide.of(chain, envelopes, heard, (), (), 0.0).quantities(None)


def _hear(noise: Path, needs: Sequence[type[Need[Any]]]) -> dict[Need[Any], Any]:
    built = []
    for need in needs:
        with contextlib.suppress(Exception):  # a plugin's own fault is told when the side is heard
            built.append(need.of(Chain()))
    source = FileSource(noise, "noise", RATE, FRAMES)
    return dict(hear(source, plan(built), workers=1).results)


def _write(path: Path) -> None:
    """Write quiet noise as 24-bit stereo."""
    with wave.open(str(path), "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(3)
        out.setframerate(RATE)
        quiet = random.Random(1).randbytes(4 * FRAMES)  # noqa: S311 - noise
        frames = bytearray(6 * FRAMES)
        for channel in range(2):  # two low bytes of noise under a high byte of nought
            frames[3 * channel :: 6] = quiet[channel::4]
            frames[3 * channel + 1 :: 6] = quiet[channel + 2 :: 4]
        out.writeframes(bytes(frames))
