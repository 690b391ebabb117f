"""The band below 320 Hz at some 700 values a second: lines of mains hum and the energy below the audible range.

Frames of 1.4 s, one every 0.7 s, have bins of 0.7 Hz: enough to tell 50 Hz from the G of a bass at 49.0 Hz. The signal
on the way there, 8 times as many values, has the energy about 1 kHz.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Analysis, Block, Chain, Stream
from qc.plugin_api.meters import Decimator
from qc_standard.spectrum.hann import peak_shift, window

Array = NDArray[np.float64]

LEAST_RATE = 650.0
"""Values a second of the low band, at the least; twice as many at the most."""
SECOND = 8
"""Values of the first filter's output to one of the low band."""
PASS_HZ = 310.0
FRAME, HOP = 1024, 512
"""Values of the low band in a frame, and from one frame to the next."""
BATCH = 32
"""Frames that are transformed at once."""
LINES = (50.0, 60.0, 100.0, 120.0, 150.0, 180.0, 200.0, 240.0, 250.0, 300.0)
"""Frequencies in Hz at which mains hum has its lines: five or six of each family."""
NEAR, BESIDE_FROM, BESIDE_TO = 1.2, 2.5, 7.0
"""Hz about a line in which its peak lies, and the bounds of the bins beside it that say what it stands out of."""
MIDDLE_CELL = 64
"""Values of the first filter's output in a cell of the energy about 1 kHz: 11 to 12 ms."""
SUBSONIC = (1.5, 18.0)
"""Hz between which energy is below what can be heard as a tone."""


@dataclass(frozen=True, slots=True)
class LowBandFrames:
    """What is kept of every frame of 1.4 s; frame k begins at k * `hop_s`."""

    hop_s: float
    length_s: float
    line: NDArray[np.float32]
    """(frames, 2, lines) mean square of the greatest peak within 1.2 Hz of a line"""
    frequency: NDArray[np.float32]
    """(frames, 2, lines) frequency of that peak in Hz"""
    beside: NDArray[np.float32]
    """(frames, 2, lines) mean square that noise as strong as the median bin beside the line has in a peak"""
    subsonic: NDArray[np.float32]
    """(frames, 2) mean square between 1.5 and 18 Hz"""
    middle: NDArray[np.float32]
    """(cells,) mean square of both channels from 0.7 to 2 kHz, of one cell after the other from frame 0 on"""
    cell_s: float
    """length of a cell in s"""


def low_pass(taps: int, cutoff: float) -> Array:
    """Return a low-pass of unit gain, `taps` long, with its -6 dB at `cutoff` of the rate; 60 dB down beyond."""
    at = np.arange(taps) - (taps - 1) / 2.0
    filtered = np.sinc(2.0 * cutoff * at) * np.kaiser(taps, 5.65)
    weights: Array = filtered / filtered.sum()
    return weights


@dataclass(frozen=True)
class LowBandLines(Analysis[LowBandFrames]):
    """Lines of mains hum and subsonic energy by frames of 1.4 s."""

    id: ClassVar[str] = "spectrum.low-band"
    version: ClassVar[int] = 3
    cost: ClassVar[float] = 3.0

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _Lines:
        """Return the initial state for a stream of two channels."""
        return _Lines(stream.rate)


class _Lines:
    """The low band, and the frames that it is cut into; frame k begins with value k * HOP of the low band."""

    def __init__(self, rate: int) -> None:
        by = 1 << max(3, int(np.log2(max(1.0, rate / LEAST_RATE))))
        self._rate = rate / by
        first = by // SECOND
        self._middle, self._cell_s = _Middle(), MIDDLE_CELL * first / rate
        self._first = Decimator(low_pass(first * 4, SECOND * self._rate / 2.0 / rate), first)
        self._second = Decimator(low_pass(SECOND * 40, 0.5 / SECOND), SECOND)
        self._low = np.zeros((2, HOP * (BATCH + 1)), dtype=np.float32)
        self._filled = 0
        self._found: list[tuple[NDArray[np.float32], ...]] = []

    def push(self, block: Block) -> None:
        """Process the next block."""
        thinned = self._first.push(block.samples)
        self._middle.push(thinned.astype(np.float32))
        values, at = self._second.push(thinned), 0
        while at < values.shape[1]:
            taken = min(values.shape[1] - at, self._low.shape[1] - self._filled)
            self._low[:, self._filled : self._filled + taken] = values[:, at : at + taken]
            self._filled, at = self._filled + taken, at + taken
            if self._filled == self._low.shape[1]:
                self._measure()

    def _measure(self) -> None:
        """Measure the whole frames, and keep the last hop, which the next frame begins with."""
        hops = self._filled // HOP
        if hops < FRAME // HOP:
            return
        parts = self._low[:, : HOP * hops].reshape(2, hops, HOP)
        frames = np.concatenate([parts[:, :-1], parts[:, 1:]], axis=2).transpose(1, 0, 2)
        self._found.append(measured(frames, self._rate))
        self._low[:, :HOP] = parts[:, -1].copy()
        self._filled = HOP

    def finish(self) -> LowBandFrames:
        """Return what was measured of all whole frames."""
        self._measure()
        none = np.zeros((0, 2, len(LINES)), dtype=np.float32)
        parts = list(zip(*self._found, strict=True)) or [(none,), (none,), (none,), (none[:, :, 0],)]
        line, frequency, beside, subsonic = (np.ascontiguousarray(np.concatenate(part)) for part in parts)
        return LowBandFrames(
            HOP / self._rate, FRAME / self._rate, line, frequency, beside, subsonic, self._middle.cells(), self._cell_s
        )


class _Middle:
    """The energy about 1 kHz of a signal of some 6,000 values a second, by cells.

    x[k] - 2 x[k - 2] + x[k - 4] is 6 dB down at 750 and 2250 Hz for 6 kHz, 39 dB at 100 Hz; its gain at 1.5 kHz is 4.
    """

    def __init__(self) -> None:
        self._before = np.zeros((2, 4), dtype=np.float32)
        self._cells: list[NDArray[np.float32]] = []

    def push(self, x: NDArray[np.float32]) -> None:
        """Process values (2, n); those of a cell that is not whole are kept back, with the four before it."""
        x = np.concatenate([self._before, x], axis=1)
        stop = 4 + (x.shape[1] - 4) // MIDDLE_CELL * MIDDLE_CELL
        y = x[:, 4:stop] + x[:, : stop - 4]
        y -= 2.0 * x[:, 2 : stop - 2]
        y *= y
        self._before = x[:, stop - 4 :]
        left, right = y.reshape(2, -1, MIDDLE_CELL).sum(axis=2)
        self._cells.append((left + right) / np.float32(2 * 16 * MIDDLE_CELL))

    def cells(self) -> NDArray[np.float32]:
        """Return the mean squares, (cells,)."""
        return np.concatenate(self._cells) if self._cells else np.zeros(0, dtype=np.float32)


_window = cache(window)


def measured(frames: NDArray[np.float32], rate: float) -> tuple[NDArray[np.float32], ...]:
    """Return line, frequency, beside and subsonic of frames (count, 2, 1024), as in `LowBandFrames`."""
    centred = frames - frames.mean(axis=2, keepdims=True)
    width = rate / FRAME
    bins = int((LINES[-1] + BESIDE_TO) / width) + 2
    spectrum = np.fft.rfft(centred * _window(FRAME))[:, :, :bins]
    power = spectrum.real**2 + spectrum.imag**2
    found: list[list[Any]] = [[], [], []]
    for hz in LINES:
        near = slice(int(np.ceil((hz - NEAR) / width)), int((hz + NEAR) / width) + 1)
        peak = near.start + power[:, :, near].argmax(axis=2)
        about = np.take_along_axis(power, peak[:, :, None] + np.arange(-2, 3), axis=2)
        three = about[:, :, 1:4]
        total = np.maximum(three.sum(axis=2), 1e-30)
        below, above = ((hz - BESIDE_TO, hz - BESIDE_FROM), (hz + BESIDE_FROM, hz + BESIDE_TO))
        beside = np.concatenate([power[:, :, int(a / width) : int(b / width) + 1] for a, b in (below, above)], axis=2)
        found[0].append(about.sum(axis=2))
        found[1].append(np.where(total > 1e-30, (peak + peak_shift(three)) * width, hz))
        found[2].append(np.median(beside, axis=2) * (5.0 / np.log(2.0)))
    subsonic = power[:, :, round(SUBSONIC[0] / width) : round(SUBSONIC[1] / width) + 1].sum(axis=2)
    line, frequency, noise = (np.stack(part, axis=2).astype(np.float32) for part in found)
    return line, frequency, noise, subsonic.astype(np.float32)
