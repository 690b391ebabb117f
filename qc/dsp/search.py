"""Finds the greatest value of a stretch and where it is, sixteen values at a time, float64 or float32.

The greatest is found first, then the first place that holds it: two short loops in vectors are faster than one that
has to remember places.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel
from qc.dsp.lanes import any_at_least, filler, greater, lane, loader, magnitude, picker

Array = NDArray[Any]

_WIDE = 16
_load, _fill = loader(_WIDE), filler(_WIDE)
_low, _high = picker(range(8)), picker(range(8, 16))


@kernel
def _top_lane(a: Any, b: Any) -> float:
    """Give the greatest number of two vectors."""
    w = greater(a, b)
    v = greater(_low(w), _high(w))
    one, two = max(lane(v, 0), lane(v, 1)), max(lane(v, 2), lane(v, 3))
    three, four = max(lane(v, 4), lane(v, 5)), max(lane(v, 6), lane(v, 7))
    return np.float64(max(one, two, three, four))


@kernel
def highest(x: Array, start: int, stop: int, sign: float) -> tuple[float, int]:
    """Greatest of sign * x[start:stop] and its first index; (-inf, start) when that is empty."""
    best, i, s = -np.inf, start, _fill(x, sign)
    if stop - start >= 2 * _WIDE:
        a, b = s * _load(x, i), s * _load(x, i + _WIDE)
        i += 2 * _WIDE
        while i + 2 * _WIDE <= stop:
            a, b = greater(a, s * _load(x, i)), greater(b, s * _load(x, i + _WIDE))
            i += 2 * _WIDE
        best = _top_lane(a, b)
    while i < stop:
        best = max(best, sign * x[i])
        i += 1
    at, top = start, _fill(x, best)
    while at + _WIDE <= stop and not any_at_least(s * _load(x, at), top):
        at += _WIDE
    while at < stop and sign * x[at] < best:
        at += 1
    return best, at


@kernel
def largest(x: Array, start: int, stop: int) -> tuple[float, int]:
    """Greatest magnitude of x[start:stop] and its first index; (0, start) when that is empty."""
    best, i = 0.0, start
    if stop - start >= 2 * _WIDE:
        a, b = magnitude(_load(x, i)), magnitude(_load(x, i + _WIDE))
        i += 2 * _WIDE
        while i + 2 * _WIDE <= stop:
            a, b = greater(a, magnitude(_load(x, i))), greater(b, magnitude(_load(x, i + _WIDE)))
            i += 2 * _WIDE
        best = _top_lane(a, b)
    while i < stop:
        best = max(best, abs(x[i]))
        i += 1
    at, top = start, _fill(x, best)
    while at + _WIDE <= stop and not any_at_least(magnitude(_load(x, at)), top):
        at += _WIDE
    while at < stop and abs(x[at]) < best:
        at += 1
    return best, at
