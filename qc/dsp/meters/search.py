"""Finds the greatest values of a stretch and where they are, sixteen values at a time, float64 or float32.

The greatest is found first, then the first place that holds it: two short loops in vectors are faster than one that
has to remember places.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import inlined, kernel
from qc.dsp.kernels.simd import filler, first_at_least, greater, lane, lesser, loader, magnitude, picker

Array = NDArray[Any]

_WIDE = 16
_load, _fill = loader(_WIDE), filler(_WIDE)
_low, _high = picker(range(8)), picker(range(8, 16))
_first_four, _last_four = picker(range(4)), picker(range(4, 8))


@kernel
def _top_lane(a: Any, b: Any) -> float:
    """Return the greatest number of two vectors."""
    w = greater(a, b)
    v = greater(_low(w), _high(w))
    u = greater(_first_four(v), _last_four(v))
    return np.float64(max(lane(u, 0), lane(u, 1), lane(u, 2), lane(u, 3)))


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
    while at + _WIDE <= stop:
        ahead = first_at_least(s * _load(x, at), top)
        if ahead < _WIDE:
            return at + ahead
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


@inlined
def short_magnitude_of(x: Array, y: Array, start: int, stop: int) -> float:
    """Greatest magnitude of x[start:stop] and y[start:stop]; 0 when they are empty. Quick for a hundred values."""
    if stop - start < _WIDE:
        best = 0.0
        for i in range(start, stop):
            best = max(best, abs(x[i]), abs(y[i]))
        return best
    a, b = magnitude(_load(x, start)), magnitude(_load(y, start))
    for i in range(start + _WIDE, stop - _WIDE, _WIDE):
        a, b = greater(a, magnitude(_load(x, i))), greater(b, magnitude(_load(y, i)))
    i = stop - _WIDE  # some of it a second time
    return _top_lane(greater(a, magnitude(_load(x, i))), greater(b, magnitude(_load(y, i))))


@kernel
def first_as_great(x: Array, start: int, stop: int, value: float) -> int:
    """First index in [start, stop) at which the magnitude of x is at least a value; `stop` where it never is."""
    at, top = start, _fill(x, value)
    while at + _WIDE <= stop:
        ahead = first_at_least(magnitude(_load(x, at)), top)
        if ahead < _WIDE:
            return at + ahead
        at += _WIDE
    while at < stop and abs(x[at]) < value:
        at += 1
    return at


@inlined
def first_as_great_of(x: Array, y: Array, start: int, stop: int, value: float) -> int:
    """First index of a short [start, stop) at which the magnitude of x or y is at least a value, which it is somewhere.

    All is looked at, without a jump: where it will be found cannot be foreseen, and a wrong guess costs more.
    """
    found = stop - _WIDE
    top = _fill(x, value)
    if found < start:
        found = start
        while found < stop - 1 and abs(x[found]) < value and abs(y[found]) < value:
            found += 1
        return found
    found += first_at_least(greater(magnitude(_load(x, found)), magnitude(_load(y, found))), top)
    last = (stop - start - 1) // _WIDE
    for i in range(last):  # from the last one to the first
        at = start + (last - 1 - i) * _WIDE
        ahead = first_at_least(greater(magnitude(_load(x, at)), magnitude(_load(y, at))), top)
        found = at + ahead if ahead < _WIDE else found
    return found
