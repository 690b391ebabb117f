"""Overs: stretches in which the wave between the samples passes full scale (true peak of ITU-R BS.1770-5, annex 2).

The wave is that of `truepeak`. It is worked out only next to samples of at least half of full scale: a sine of up to a
third of the sample rate has one within 60 degrees of its peak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel, read_only
from qc.dsp.kernels.simd import any_at_least, greater, loader, magnitude, splatter
from qc.dsp.meters.truepeak import HALF, STEP, WEIGHTS, oversample

Array = NDArray[np.float64]

NEAR = 0.5
"""Magnitude of a sample next to which the wave is worked out: cos(pi / 3)."""
OVER = 10.0 ** (0.02 / 20.0)
"""Magnitude from which the wave passes full scale: 0.02 dB, twice the ripple of the weights."""
ROWS = 4096
"""Most overs of a channel that are kept apart; later ones are part of the last."""
_load, _splat = loader(8), splatter(8)


@dataclass(frozen=True, slots=True)
class Over:
    """A stretch of overs of one channel: first and last place and that of the peak in frames, full scale 1.0."""

    first: float
    last: float
    peak: float
    peak_frame: float


@kernel
def _note(place: float, value: float, gap: float, rows: Array, count: int) -> int:
    """Add a value at a place in quarter frames to the last row, or begin a row; return the number of rows."""
    if count and (place - rows[count - 1, 1] <= gap or count == rows.shape[0]):
        row = rows[count - 1]
        row[1] = place
        if value > row[2]:
            row[2], row[3] = value, place
        return count
    rows[count, 0] = rows[count, 1] = rows[count, 3] = place
    rows[count, 2] = value
    return count + 1


@kernel
def follow(
    row: Array, at: int, stop: int, frame: int, weights: Array, y: Array, gap: float, rows: Array, count: int
) -> int:
    """Look for overs behind the samples from index `at`, number `frame` of the stream, to `stop`, some STEPs on.

    rows (n, 4): first and last place in quarter frames, peak, its place; returns how many of them are in use.
    """
    near, over = _splat(NEAR), _splat(OVER)
    for start in range(at, stop, STEP):
        v = greater(magnitude(_load(row, start)), magnitude(_load(row, start + 8)))
        v = greater(v, magnitude(_load(row, start + 9)))
        if any_at_least(v, near) and any_at_least(oversample(row, start, weights, y), over):
            for i in range(3 * STEP):
                value = abs(y[i // 3 + i % 3 * STEP])  # in the order of time
                if value >= OVER:
                    place = 4.0 * (frame + start - at + i // 3) + 1.0 + i % 3
                    count = _note(place, value, gap, rows, count)
    return count


class OverSweep:
    """Overs of two channels; those of one channel that are at most `gap` frames apart are one."""

    def __init__(self, gap: float) -> None:
        self._gap = 4.0 * gap
        self._carried = np.zeros((2, HALF))
        self._next = 0
        """number of the frame at index HALF of what is carried"""
        self._frames = 0
        self._weights, self._y = WEIGHTS.reshape(-1), np.empty(3 * STEP)
        self._rows, self._counts = np.zeros((2, ROWS, 4)), [0, 0]

    def push(self, x: Array) -> None:
        """Take the next frames, (2, n)."""
        self._frames += x.shape[1]
        self._sweep(x)

    def finish(self) -> tuple[tuple[Over, ...], tuple[Over, ...]]:
        """Return the overs of the left and the right channel in the order of time; nothing lies behind the stream."""
        self._sweep(np.zeros((2, HALF + STEP)))
        last = float(max(0, self._frames - 1))
        left, right = (
            tuple(
                Over(min(first / 4.0, last), min(end / 4.0, last), peak, min(place / 4.0, last))
                for first, end, peak, place in self._rows[c, : self._counts[c]].tolist()
            )
            for c in range(2)
        )
        return left, right

    def _sweep(self, x: Array) -> None:
        """Look at all steps whose reach is complete, and carry the frames that the next one needs."""
        joined = read_only(np.concatenate([self._carried, x], axis=1))
        done = max(0, (joined.shape[1] - 2 * HALF) // STEP) * STEP
        for c in range(2):
            self._counts[c] = follow(
                joined[c], HALF, HALF + done, self._next, self._weights, self._y, self._gap, self._rows[c],
                self._counts[c],
            )  # fmt: skip
        self._carried = joined[:, done:].copy()
        self._next += done
