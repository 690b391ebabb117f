"""A low-pass whose output is kept at a lower rate: only the values that are kept are worked out."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import index, kernel, read_only
from qc.dsp.kernels.simd import lane, loader, picker, splatter

Array = NDArray[np.float64]

LANES = 8
"""Products that are summed side by side."""
_load, _splat = loader(LANES), splatter(LANES)
_low, _high = picker(range(4)), picker(range(4, 8))


@kernel
def _total(v: Any) -> float:
    """Sum of eight lanes."""
    four = _low(v) + _high(v)
    return (lane(four, 0) + lane(four, 1)) + (lane(four, 2) + lane(four, 3))


@kernel
def decimate(x: Array, at: int, by: int, taps: Array, out: Array, to: int, count: int) -> None:
    """Set out[c, to + i] to the sum over j of taps[j] * x[c, at + i * by + j], for i in [0, count).

    The number of taps is a multiple of 2 * LANES.
    """
    for c in range(2):
        row, kept = x[c], out[c]
        for i in range(count):
            start = at + i * by
            a = b = _splat(0.0)
            for j in range(0, taps.shape[0], 2 * LANES):
                a = a + _load(taps, j) * _load(row, start + j)
                b = b + _load(taps, j + LANES) * _load(row, start + j + LANES)
            kept[to + i] = _total(a + b)


class Decimator:
    """Filters two channels with given taps and keeps one value of `by`; takes blocks of any size.

    Before the first frame there is silence: value k is the sum of the taps, the last first, times the frames that end
    with frame (k + 1) * by - 1.
    """

    def __init__(self, taps: Array, by: int) -> None:
        size = -(-max(len(taps), by) // (2 * LANES)) * 2 * LANES
        self._taps, self._by = np.zeros(size), by
        self._taps[size - len(taps) :] = taps[::-1]
        self._kept = np.zeros((2, size - by))
        """the frames that the next value begins with"""

    def push(self, x: Array) -> Array:
        """Return the values, (2, m), that end with the next frames, (2, n)."""
        kept, size = self._kept.shape[1], len(self._taps)
        count = max(0, (kept + x.shape[1] - size) // self._by + 1)
        out = np.empty((2, count))
        first = min(count, -(-kept // self._by))  # values that begin before x
        joined = np.concatenate([self._kept, x[:, :size] if count else x], axis=1)
        decimate(read_only(joined), index(0), self._by, self._taps, out, index(0), first)
        next_start = first * self._by - kept
        decimate(read_only(np.ascontiguousarray(x)), next_start, self._by, self._taps, out, first, count - first)
        begin = count * self._by - kept
        self._kept = x[:, begin:].copy() if begin >= 0 else joined[:, count * self._by :].copy()
        return out
