"""Finds the greatest values of a stretch and where they are, sixteen values at a time, float64 or float32.

The greatest is found first, then the first place that holds it: two short loops in vectors are faster than one that
has to remember places.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel
from qc.dsp.kernels.simd import any_at_least, filler, greater, lane, lesser, loader, magnitude, picker

Array = NDArray[Any]

_WIDE = 16
_load, _fill = loader(_WIDE), filler(_WIDE)
_low, _high = picker(range(8)), picker(range(8, 16))


@kernel
def _top_lane(a: Any, b: Any) -> float:
    """Return the greatest number of two vectors."""
    w = greater(a, b)
    v = greater(_low(w), _high(w))
    one, two = max(lane(v, 0), lane(v, 1)), max(lane(v, 2), lane(v, 3))
    three, four = max(lane(v, 4), lane(v, 5)), max(lane(v, 6), lane(v, 7))
    return np.float64(max(one, two, three, four))


@kernel
def ends(x: Array, start: int, stop: int) -> tuple[float, float]:
    """Greatest and least of x[start:stop]; (-inf, inf) when that is empty."""
    top, bottom, i = -np.inf, np.inf, start
    if stop - start >= _WIDE:
        a = _load(x, i)
        b = a
        i += _WIDE
        while i + _WIDE <= stop:
            v = _load(x, i)
            a, b = greater(a, v), lesser(b, v)
            i += _WIDE
        turned = _fill(x, -1.0) * b
        top, bottom = _top_lane(a, a), -_top_lane(turned, turned)
    while i < stop:
        top, bottom = max(top, x[i]), min(bottom, x[i])
        i += 1
    return top, bottom


@kernel
def first_of(x: Array, start: int, stop: int, sign: float, value: float) -> int:
    """First index in [start, stop) at which sign * x is at least a value; `stop` where it never is."""
    at, top, s = start, _fill(x, value), _fill(x, sign)
    while at + _WIDE <= stop and not any_at_least(s * _load(x, at), top):
        at += _WIDE
    while at < stop and sign * x[at] < value:
        at += 1
    return at


@kernel
def magnitude_of(x: Array, start: int, stop: int) -> float:
    """Greatest magnitude of x[start:stop]; 0 when that is empty."""
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
    return best


@kernel
def first_as_great(x: Array, start: int, stop: int, value: float) -> int:
    """First index in [start, stop) at which the magnitude of x is at least a value; `stop` where it never is."""
    at, top = start, _fill(x, value)
    while at + _WIDE <= stop and not any_at_least(magnitude(_load(x, at)), top):
        at += _WIDE
    while at < stop and abs(x[at]) < value:
        at += 1
    return at
