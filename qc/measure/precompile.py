"""Compile all kernels before the first side is measured, in two processes where there are two cores.

numba compiles in one thread at a time. So a second process measures a second of noise, the wall motion and what the
tool's own plugins need, while this one computes a groove. Each stores what it compiled in a folder of its own, since
numba lets two processes that store one kernel at once mix up its argument types; then this one takes over what it has
not got. Whatever goes wrong here costs time only: a kernel that is still missing is compiled when it is called.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import random
import subprocess
import sys
import tempfile
import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from qc.audio.pipeline.plan import plan
from qc.audio.pipeline.process import default_workers, process_source
from qc.audio.source import BLOCK, FileSource
from qc.dsp.kernels.cache import opened
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import span_of
from qc.groove.level.side_at_level import WorkedSide
from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip
from qc.groove.signal.band_limit import Topped
from qc.groove.signal.programme import WINDOWS_A_SECOND, ProgrammeBounds
from qc.groove.signal.sector_envelopes import MARGIN, envelopes_of
from qc.groove.signal.wall_motion import Motion
from qc.model.cutting_chain import Chain
from qc.plugin_base import Stream
from qc.plugin_host.host import Host
from qc.plugin_host.names import PROJECT

RATE = 96_000
FRAMES = BLOCK + RATE // 2
"""More than one block, so that what goes on from block to block is compiled too."""

MOST_S = 60.0
"""Time in seconds that the other process may take longer than this one."""


def precompile(host: Host) -> None:
    """Compile every kernel unless an earlier run did: the groove in this process, the rest in another one.

    The rest is the wall motion and what the needs of the tool's own plugins process; other plugins may not end, and
    compile what they have when they are called. Several first runs at once compile once: the others wait
    (`kernels.cache`). The folder is complete only when both parts ended; else the next run goes on. Where nothing can
    be stored, this process compiles all, so that no call of a plugin waits for it.
    """
    with contextlib.suppress(Exception), opened().compiling() as missing:
        if missing:
            with tempfile.TemporaryDirectory(prefix="sidegate-") as folder:
                noise = Path(folder) / "noise.wav"
                _write_noise(noise)
                names = own_needs(host)
                if sys.executable and default_workers() > 1 and opened().persistent:
                    try:
                        _in_two_processes(noise, names)
                    except subprocess.SubprocessError:
                        _motion_and_needs(noise, names)  # else calls of plugins would wait for the compiler
                        raise
                else:
                    _groove()
                    _motion_and_needs(noise, names)


def own_needs(host: Host) -> list[str]:
    """List the needs of the tool's own plugins, as MODULE:CLASS."""
    own = {plugin.name for plugin in host.plugins if plugin.package == PROJECT}
    return [f"{need.__module__}:{need.__qualname__}" for need in host.needs if host.need_owner[need] in own]


def _in_two_processes(noise: Path, names: Sequence[str]) -> None:
    """Compile both parts at once; raises subprocess.SubprocessError where the other process fails or does not end."""
    # -P: the folder it runs in may be a delivery, and nothing in that is to be imported
    code = "from qc.measure.precompile import other_process; other_process()"
    command = [sys.executable, "-P", "-c", code, str(noise), *names]
    elsewhere = noise.parent / "kernels"
    elsewhere.mkdir()
    with subprocess.Popen(  # noqa: S603 - this program itself
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "SIDEGATE_CACHE": str(elsewhere)},
    ) as other:
        try:
            _groove()
            status = other.wait(MOST_S)
        except BaseException:
            other.kill()
            raise
    if status:
        raise subprocess.CalledProcessError(status, sys.executable)
    opened().adopt(elsewhere)
    _motion_and_needs(noise, names)  # loads what was taken over; compiles what both had, for other argument types


def other_process() -> None:
    """Compile the other process's part; the file of noise and the needs are on its command line."""
    noise, *names = sys.argv[1:]
    _motion_and_needs(Path(noise), names)


def _groove() -> None:
    """Compute the groove of random wall motion, since the kernels for real motion are compiled elsewhere meanwhile."""
    chain = Chain()
    motion = np.random.default_rng(1).normal(0.0, 1e-6, (4, RATE + 2 * MARGIN))
    envelopes = envelopes_of(motion, RATE, chain.signal)
    programme = ProgrammeBounds.of(np.full((2, FRAMES * WINDOWS_A_SECOND // RATE), 0.01, np.float32), FRAMES / RATE)
    span = span_of((), programme, envelopes.sectors)
    WorkedSide.of(SideGeometry.of(chain, span, envelopes), (), 0.0).quantities(None)
    CutPassage(motion[:2], RATE, 1.0).played(PlaybackSetup(0.0, 0.5, Tip.spherical(8e-6)))


def _motion_and_needs(noise: Path, names: Sequence[str]) -> None:
    """Compute wall motion, then measure noise with the needs of some names, MODULE:CLASS; others are left out."""
    stream = Stream(source="noise", rate=RATE, channels=2, frames=FRAMES)
    signal = Chain().signal
    silence = np.zeros((2, RATE // 10))
    Motion(signal).start(stream).push(Topped(signal.top).start(stream).push(silence))
    Motion(signal).start(stream).push(silence)  # as passages that are measured once more come, in float64
    needs = []
    for name in names:
        module, _, qualified = name.partition(":")
        with contextlib.suppress(Exception):  # a plugin's own fault is reported when the side is measured
            needs.append(getattr(importlib.import_module(module), qualified).of(Chain()))
    process_source(FileSource(noise, "noise", RATE, FRAMES), plan(needs), workers=1)


def _write_noise(path: Path) -> None:
    """Write quiet noise as 24-bit stereo."""
    with wave.open(str(path), "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(3)
        out.setframerate(RATE)
        quiet = random.Random(1).randbytes(4 * FRAMES)  # noqa: S311 - noise
        frames = bytearray(6 * FRAMES)
        for channel in range(2):  # two low bytes of noise under a high byte of zero
            frames[3 * channel :: 6] = quiet[channel::4]
            frames[3 * channel + 1 :: 6] = quiet[channel + 2 :: 4]
        out.writeframes(bytes(frames))
