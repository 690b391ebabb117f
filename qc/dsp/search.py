"""Finds the greatest value of a stretch and where it is, many at a time.

A plain loop waits for each comparison before the next. Eight running maxima do not, and remembering which 64
values held the greatest leaves only those to be searched for its place.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel

Array = NDArray[np.float64]


@kernel
def highest(x: Array, start: int, stop: int, sign: float) -> tuple[float, int]:
    """Greatest of sign * x[start:stop] and its first index; (-inf, start) when that is empty."""
    best, at, i = -np.inf, start, start
    while i + 64 <= stop:
        m0 = m1 = m2 = m3 = m4 = m5 = m6 = m7 = -np.inf
        for k in range(i, i + 64, 8):
            m0, m1 = max(m0, sign * x[k]), max(m1, sign * x[k + 1])
            m2, m3 = max(m2, sign * x[k + 2]), max(m3, sign * x[k + 3])
            m4, m5 = max(m4, sign * x[k + 4]), max(m5, sign * x[k + 5])
            m6, m7 = max(m6, sign * x[k + 6]), max(m7, sign * x[k + 7])
        a, b, c, d = max(m0, m1), max(m2, m3), max(m4, m5), max(m6, m7)
        top = max(a, b, c, d)
        if top > best:
            best, at = top, i
        i += 64
    while i < stop:
        if sign * x[i] > best:
            best, at = sign * x[i], i
        i += 1
    while at < stop and sign * x[at] != best:
        at += 1
    return best, at


@kernel
def largest(x: Array, start: int, stop: int) -> tuple[float, int]:
    """Greatest magnitude of x[start:stop] and its first index; (0, start) when that is empty."""
    best, at, i = 0.0, start, start
    while i + 64 <= stop:
        m0 = m1 = m2 = m3 = m4 = m5 = m6 = m7 = 0.0
        for k in range(i, i + 64, 8):
            m0, m1 = max(m0, abs(x[k])), max(m1, abs(x[k + 1]))
            m2, m3 = max(m2, abs(x[k + 2])), max(m3, abs(x[k + 3]))
            m4, m5 = max(m4, abs(x[k + 4])), max(m5, abs(x[k + 5]))
            m6, m7 = max(m6, abs(x[k + 6])), max(m7, abs(x[k + 7]))
        a, b, c, d = max(m0, m1), max(m2, m3), max(m4, m5), max(m6, m7)
        top = max(a, b, c, d)
        if top > best:
            best, at = top, i
        i += 64
    while i < stop:
        if abs(x[i]) > best:
            best, at = abs(x[i]), i
        i += 1
    while at < stop and abs(x[at]) != best:
        at += 1
    return best, at
