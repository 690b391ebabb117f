"""Sums over consecutive short windows of two channels, and over longer windows made of them.

A window is added up only when it is whole, always in the same order: four partial sums by place in the window,
then their sum. So the digits depend neither on how the stream was cut into blocks nor on the width of the
processor's vectors.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel

Array = NDArray[np.float64]

PART_S = 0.01
"""Seconds in a part: the window that longer windows, and the question of what is programme, are made of."""
PROGRAMME = 1e-6
"""Mean square above which a part of a channel is programme: -60 dBFS rms."""


@kernel
def window_sums(x: Array, at: int, window: int, out: Array) -> None:
    """Set out[k] to the sums of L^2, R^2, L R over x[:, at + k window : at + (k + 1) window]."""
    left, right = x[0], x[1]
    for k in range(out.shape[0]):
        i = at + k * window
        stop = i + window
        l0 = l1 = l2 = l3 = r0 = r1 = r2 = r3 = c0 = c1 = c2 = c3 = 0.0
        while i + 3 < stop:
            a, b = left[i], right[i]
            l0, r0, c0 = l0 + a * a, r0 + b * b, c0 + a * b
            a, b = left[i + 1], right[i + 1]
            l1, r1, c1 = l1 + a * a, r1 + b * b, c1 + a * b
            a, b = left[i + 2], right[i + 2]
            l2, r2, c2 = l2 + a * a, r2 + b * b, c2 + a * b
            a, b = left[i + 3], right[i + 3]
            l3, r3, c3 = l3 + a * a, r3 + b * b, c3 + a * b
            i += 4
        while i < stop:
            a, b = left[i], right[i]
            l0, r0, c0 = l0 + a * a, r0 + b * b, c0 + a * b
            i += 1
        out[k, 0] = (l0 + l1) + (l2 + l3)
        out[k, 1] = (r0 + r1) + (r2 + r3)
        out[k, 2] = (c0 + c1) + (c2 + c3)


@kernel
def add_up(x: Array, frame: int, totals: Array) -> None:
    """Add x (channels, n), whose first frame is number `frame`, to totals (channels, 4) by frame modulo 4."""
    n = x.shape[1]
    for c in range(x.shape[0]):
        row, total = x[c], totals[c]
        i = 0
        while i < n and (frame + i) % 4:
            total[(frame + i) % 4] += row[i]
            i += 1
        t0, t1, t2, t3 = total[0], total[1], total[2], total[3]
        while i + 3 < n:
            t0, t1, t2, t3 = t0 + row[i], t1 + row[i + 1], t2 + row[i + 2], t3 + row[i + 3]
            i += 4
        total[0], total[1], total[2], total[3] = t0, t1, t2, t3
        while i < n:
            total[(frame + i) % 4] += row[i]
            i += 1


def part_frames(rate: int) -> int:
    """Frames in a part of 10 ms: whole at every rate in use, rounded at others."""
    return max(1, round(rate * PART_S))


class WindowSums:
    """Sums of L^2, R^2 and L R over consecutive windows of `window` frames from frame 0 on; two channels."""

    def __init__(self, window: int) -> None:
        self.window = window
        self._held = np.zeros((2, window))  # the window that is not whole yet
        self._filled = 0
        self._sums = np.empty((1024, 3))
        self._count = 0

    def push(self, x: Array) -> None:
        """Take the next frames, (2, n)."""
        x = np.ascontiguousarray(x)
        at = 0
        if self._filled:
            at = min(self.window - self._filled, x.shape[1])
            self._held[:, self._filled : self._filled + at] = x[:, :at]
            self._filled += at
            if self._filled < self.window:
                return
            window_sums(self._held, 0, self.window, self._room(1))
        whole = (x.shape[1] - at) // self.window
        if whole:
            window_sums(x, at, self.window, self._room(whole))
        at += whole * self.window
        self._filled = x.shape[1] - at
        self._held[:, : self._filled] = x[:, at:]

    def finish(self) -> tuple[Array, NDArray[np.int64]]:
        """Give the sums, (windows, 3), and the frames in each, (windows,); only the last can have fewer."""
        whole = self._count
        if self._filled:
            window_sums(self._held, 0, self._filled, self._room(1))
        counts = np.full(self._count, self.window, dtype=np.int64)
        counts[whole:] = self._filled
        self._filled = 0
        return self._sums[: self._count].copy(), counts

    def _room(self, windows: int) -> Array:
        """Give the next rows to write to; the store doubles when it is full."""
        start, self._count = self._count, self._count + windows
        if self._count > len(self._sums):
            grown = np.empty((max(self._count, 2 * len(self._sums)), 3))
            grown[:start] = self._sums[:start]
            self._sums = grown
        return self._sums[start : self._count]


class Means:
    """Mean of each of two channels."""

    def __init__(self) -> None:
        self._totals = np.zeros((2, 4))
        self._frames = 0

    def push(self, x: Array) -> None:
        """Take the next frames, (2, n)."""
        add_up(np.ascontiguousarray(x), self._frames, self._totals)
        self._frames += x.shape[1]

    def finish(self) -> Array:
        """Give the means, (2,); nought for an empty stream."""
        means: Array = self._totals.sum(axis=1) / max(1, self._frames)
        return means


def sliding(values: Array, width: int) -> Array:
    """Sum `width` consecutive rows from every row on, (max(0, n - width + 1), ...).

    By doubling: log2(width) additions a row, and no cumulative sum in which a quiet window would drown.
    """
    n = len(values) - width + 1
    if n <= 0:
        return values[:0].copy()
    total = np.zeros((n, *values.shape[1:]))
    power, done, size = values, 0, 1
    while True:
        if width & size:
            total += power[done : done + n]
            done += size
        if done == width:
            return total
        power = power[:-size] + power[size:]
        size *= 2


def programme(sums: Array, counts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether each part is programme, (windows,): either channel, unfiltered, is above -60 dBFS rms."""
    loud: NDArray[np.bool_] = sums[:, :2].max(axis=1, initial=0.0) > PROGRAMME * counts
    return loud
