"""Sums over consecutive short windows of two channels, and over longer windows made of them.

A window is added up only when it is whole, from its own first frame on: eight partial sums by place in the window,
then their sum, always in the same order. So the digits depend neither on how the stream was cut into blocks nor on the
width of the processor's vectors.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel, read_only
from qc.dsp.kernels.simd import lane, loader, picker, splatter

Array = NDArray[np.float64]
Wave = NDArray[Any]
"""float64 or float32"""

PART_S = 0.01
"""Seconds in a part: the window that longer windows, and the question of what is programme, are made of."""
LANES = 8
"""Frames that are worked on at once; the last ones of a window may be fewer."""

load, splat = loader(LANES), splatter(LANES)
_low_four, _high_four, _low_two, _high_two = picker(range(4)), picker(range(4, 8)), picker(range(2)), picker([2, 3])


def part_frames(rate: int) -> int:
    """Frames in a part of 10 ms: whole at every rate in use, rounded at others."""
    return max(1, round(rate * PART_S))


# -- what the kernels of all such sums share -------------------------------------------------------------------


@kernel
def total(v: Any) -> float:
    """Sum of eight lanes."""
    four = _low_four(v) + _high_four(v)
    two = _low_two(four) + _high_two(four)
    return lane(two, 0) + lane(two, 1)


@kernel
def keep(x: Wave, start: int, stop: int, buffer: Wave) -> None:
    """Copy x[:, start:stop] to the beginning of `buffer`; where `start` is negative, the frames before x are there."""
    for c in range(2):
        source, target = x[c], buffer[c]
        for i in range(max(start, 0), stop):
            target[i - start] = source[i]


class Windows(ABC):
    """Takes a stream of two channels in any blocks and has its windows of `window` frames summed up one by one.

    Parameters
    ----------
    window
        Frames in a window.
    columns
        Sums of each window.
    frames
        Frames of the stream, so that there is room for all its windows from the beginning; it may turn out longer.
    """

    def __init__(self, window: int, columns: int, frames: int = 0) -> None:
        self.window = window
        # the window that is not whole yet, and room for whole vectors behind it
        self.buffer: Wave = np.zeros((2, -(-window // LANES) * LANES))
        self._last = self.last_lanes(window)
        self._filled = 0
        self._sums = np.empty((max(64, frames // window + 1), columns))
        self._count = 0

    def last_lanes(self, window: int) -> Array:
        """Return what the kernel needs to know of the last frames of such a window, those that fill no whole vector.

        By itself a mask, (LANES,), with ones where a lane still belongs to the window.
        """
        return (np.arange(LANES) < window % LANES).astype(np.float64)

    @abstractmethod
    def add(self, x: Wave, filled: int, window: int, last: Array, out: Array) -> None:
        """Sum up as many windows as `out` has rows and keep the frames that follow them.

        The first `filled` frames of the first window are in the buffer already; x (2, n) follows them.
        """

    def push(self, x: Wave) -> None:
        """Take the next frames, (2, n)."""
        windows, left = divmod(self._filled + x.shape[1], self.window)
        self.add(read_only(np.ascontiguousarray(x)), self._filled, self.window, self._last, self._room(windows))
        self._filled = left

    def finish(self) -> tuple[Array, NDArray[np.int64]]:
        """Return the sums, (windows, columns), and the frames in each, (windows,); only the last can have fewer."""
        whole, left = self._count, self._filled
        if left:
            rest = read_only(np.ascontiguousarray(self.buffer[:, :left]))
            self.add(rest, 0, left, self.last_lanes(left), self._room(1))
            self._filled = 0
        counts = np.full(self._count, self.window, dtype=np.int64)
        counts[whole:] = left
        return self._sums[: self._count], counts

    def _room(self, windows: int) -> Array:
        """Return the next rows to write to; their array doubles when it is full."""
        start, self._count = self._count, self._count + windows
        if self._count > len(self._sums):
            grown = np.empty((max(self._count, 2 * len(self._sums)), self._sums.shape[1]))
            grown[:start] = self._sums[:start]
            self._sums = grown
        return self._sums[start : self._count]


# -- sums of the samples themselves ----------------------------------------------------------------------------


@kernel
def window_sums(x: Array, filled: int, window: int, buffer: Array, mask: Array, out: Array) -> None:
    """Set each row of `out` to the sums of L^2, R^2 and L R of a window; see `Windows.add`.

    `mask` has ones where the last lanes of a window still belong to it.
    """
    reach = -(-window // LANES) * LANES
    at, last = -filled, load(mask, 0)
    for k in range(out.shape[0]):
        source, first = x, at
        if at < 0 or at + reach > x.shape[1]:  # it begins before x, or its last vector ends behind it
            keep(x, at, at + window, buffer)
            source, first = buffer, 0
        left, right = source[0], source[1]
        l2 = r2 = lr = splat(0.0)
        whole = first + window // LANES * LANES
        for i in range(first, whole, LANES):
            a, b = load(left, i), load(right, i)
            l2, r2, lr = l2 + a * a, r2 + b * b, lr + a * b
        if window % LANES:
            a, b = last * load(left, whole), last * load(right, whole)
            l2, r2, lr = l2 + a * a, r2 + b * b, lr + a * b
        out[k, 0], out[k, 1], out[k, 2] = total(l2), total(r2), total(lr)
        at += window
    keep(x, at, x.shape[1], buffer)


class WindowSums(Windows):
    """Sums of L^2, R^2 and L R over consecutive windows of `window` frames from frame 0 on; two channels."""

    def __init__(self, window: int, frames: int = 0) -> None:
        super().__init__(window, 3, frames)

    def add(self, x: Array, filled: int, window: int, last: Array, out: Array) -> None:
        """Sum up as many windows as `out` has rows."""
        window_sums(x, filled, window, self.buffer, last, out)


def sliding(values: Array, width: int) -> Array:
    """Sum `width` consecutive rows from every row on, (max(0, n - width + 1), ...).

    By doubling: log2(width) additions a row, and no cumulative sum in which a quiet window would drown.
    """
    n = len(values) - width + 1
    if n <= 0:
        return values[:0].copy()
    sums = np.zeros((n, *values.shape[1:]))
    power, done, size = values, 0, 1
    while True:
        if width & size:
            sums += power[done : done + n]
            done += size
        if done == width:
            return sums
        power = power[:-size] + power[size:]
        size *= 2
