"""Swings that a part of the sectors of a window reach: how far the groove swings for long, not at one moment.

A limit on a share needs the limit inside the measurement. What so many sectors reach is a length like the peak, goes
with the gain, and needs no spiral. The greatest swing of a sector is taken for it: bass, which swings widest, is slow.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import as_written

Array = NDArray[np.float64]

KEPT = 0.05
"""Part of the sectors of a window: half a second of 10 s (practice)."""


def kept_most(values: Array, window: int, part: float) -> tuple[float, int, int, int]:
    """Return the greatest value that `part` of the sectors of some window reach; its greatest sector; its two ends.

    The first window of those that reach as much; a shorter side is one window.
    """
    window = min(window, len(values))
    most, start = _most(np.ascontiguousarray(values), window, _count(window, part))
    end = start + window
    return most, start + int(values[start:end].argmax()), start, end


def kept_along(values: Array, window: int, part: float) -> Array:
    """Return the value that `part` of the sectors of each window reach, by its first sector, (starts,)."""
    window = min(window, len(values))
    found = np.empty(len(values) + 1 - window)
    _sliding(np.ascontiguousarray(values), window, _count(window, part), found)
    return found


def _count(window: int, part: float) -> int:
    """Return how many sectors of a window `part` of them are."""
    return math.ceil(part * window - 1e-9)


@as_written
def _most(values: Array, window: int, count: int) -> tuple[float, int]:
    """Return the most that `count` values of some window reach, and the first of the first such window.

    A window is sorted only where so many in it are above the most so far: that is to say, where it reaches more.
    """
    most, first = np.sort(values[:window])[window - count], 0
    above = 0
    for i in range(window):
        above += int(values[i] > most)
    for i in range(window, len(values)):
        above += int(values[i] > most) - int(values[i - window] > most)
        if above >= count:
            first = i + 1 - window
            most = np.sort(values[first : i + 1])[window - count]
            above = 0
            for k in range(first, i + 1):
                above += int(values[k] > most)
    return most, first


@as_written
def _sliding(values: Array, window: int, count: int, found: Array) -> None:
    """Fill `found` with the value that `count` of each window reach, from the sorted window before it."""
    ordered = np.sort(values[:window])
    found[0] = ordered[window - count]
    for i in range(window, len(values)):
        old, new = values[i - window], values[i]
        at, to = np.searchsorted(ordered, old), np.searchsorted(ordered, new)
        if to > at:
            for k in range(at, to - 1):
                ordered[k] = ordered[k + 1]
            ordered[to - 1] = new
        else:
            for k in range(at, to, -1):
                ordered[k] = ordered[k - 1]
            ordered[to] = new
        found[i - window + 1] = ordered[window - count]
