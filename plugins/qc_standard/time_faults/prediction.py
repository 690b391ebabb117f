"""Linear prediction around a suspected click: how far the samples leave it, and whether it goes on behind them.

The suspected samples are first replaced by those that leave the least prediction residual (least squares), so that the
prediction is that of the sound without them. A click leaves the prediction and the sound goes on as before; an onset
leaves it for good; a cut to another place in the sound cannot be repaired within a fraction of a millisecond.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api.kernels import kernel

Array = NDArray[np.float64]
Samples = NDArray[np.float32]

ORDER = 32
"""Samples that each sample is predicted from."""
WINDOW = 1024
"""Samples on either side of the middle that the prediction is worked out from."""
NEAR = 340
"""Samples on either side whose residual the suspected ones are compared with."""
STEP, LEFT, SIZE, FIRST, END, OTHERS, INWARD, UNLIKE = range(8)
"""Columns of what is found about a place: greatest residual of the samples over the rms residual beside them; rms
residual of the repaired samples over it; greatest change by the repair; first sample and end; greatest residual
elsewhere over that of the samples; 1 where samples were lowered as by clipping; rms
residual of the louder side over that of the other."""
COLUMNS = 8
QUIET = 3e-6
"""Least rms residual: -110 dBFS, what 16 bits leave of silence."""
TOP = 0.7
"""Part of the greatest sample about it from which a sample that was lowered may have been cut off (practice)."""
FULL = 0.98
"""Full scale: a sample there that was lowered was cut off."""
HOPELESS = 6.0
"""Residual over that beside it, after the first repair, below which a place is not looked at any further."""


@kernel
def _coefficients(x: Array, taper: Array, a: Array) -> None:
    """Compute the prediction error filter a, (ORDER + 1,), of x by the autocorrelation method."""
    n = len(x)
    v = np.zeros(n + ORDER)
    r = np.zeros(ORDER + 1)
    for i in range(n):
        v[i] = x[i] * taper[i]
    for i in range(n):
        sample, following = v[i], v[i : i + ORDER + 1]
        for k in range(ORDER + 1):
            r[k] += sample * following[k]
    error = r[0] * (1.0 + 1e-9) + 1e-12
    a[:] = 0.0
    a[0] = 1.0
    swap = np.empty(ORDER + 1)
    for i in range(1, ORDER + 1):
        s = 0.0
        for k in range(i):
            s += a[k] * r[i - k]
        reflection = -s / error
        for k in range(i + 1):
            swap[k] = a[k] + reflection * a[i - k]
        for k in range(i + 1):
            a[k] = swap[k]
        error *= 1.0 - reflection * reflection


@kernel
def _residual(x: Array, a: Array, e: Array) -> None:
    """Compute the prediction residual of x; the first ORDER samples have none."""
    e[:] = 0.0
    n = len(x) - ORDER
    inner = e[ORDER:]
    for k in range(ORDER + 1):
        factor, delayed = a[k], x[ORDER - k : ORDER - k + n]
        for i in range(n):
            inner[i] += factor * delayed[i]


@kernel
def _factor(b: Array, low: Array) -> None:
    """Compute the lower factor of the matrix with b[|i - j|] at (i, j), by Cholesky; b is 0 beyond its end."""
    for i in range(len(low)):
        for j in range(i + 1):
            s = b[i - j] if i - j < len(b) else 0.0
            for k in range(j):
                s -= low[i, k] * low[j, k]
            low[i, j] = np.sqrt(max(s, 1e-12)) if i == j else s / low[j, j]


@kernel
def _solve(low: Array, right: Array) -> None:
    """Solve the equations of a lower factor for `right`, in place."""
    m = len(right)
    for i in range(m):
        for k in range(i):
            right[i] -= low[i, k] * right[k]
        right[i] /= low[i, i]
    for i in range(m - 1, -1, -1):
        for k in range(i + 1, m):
            right[i] -= low[k, i] * right[k]
        right[i] /= low[i, i]


@kernel
def _repair(x: Array, a: Array, first: int, end: int) -> None:
    """Replace x[first:end] by the samples that leave the least prediction residual."""
    m = end - first
    b = np.zeros(ORDER + 1)
    for k in range(ORDER + 1):
        for i in range(ORDER + 1 - k):
            b[k] += a[i] * a[i + k]
    right = np.zeros(m)
    for i in range(m):
        for k in range(-ORDER, ORDER + 1):
            j = first + i + k
            if j < first or j >= end:
                right[i] -= b[abs(k)] * x[j]
    low = np.zeros((m, m))
    _factor(b, low)
    _solve(low, right)
    x[first:end] = right


@kernel
def _reach(x: Array, middle: int, reach: int) -> tuple[int, int]:
    """Return the first sample and the end of what leaves the wave near the middle, by its fourth difference."""
    d = np.zeros(2 * reach + 1)
    most = 0.0
    for i in range(2 * reach + 1):
        j = middle - reach + i
        d[i] = abs(x[j - 2] - 4.0 * x[j - 1] + 6.0 * x[j] - 4.0 * x[j + 1] + x[j + 2])
        most = max(most, d[i])
    first, end = middle, middle + 1
    for i in range(2 * reach + 1):
        if d[i] > 0.25 * most:
            first, end = min(first, middle - reach + i), max(end, middle - reach + i + 1)
    return first - 1, end + 1


@kernel
def _inward(x: Array, repaired: Array, first: int, end: int) -> bool:
    """Whether samples at full scale, or the one that was changed most and is among the greatest, were lowered."""
    at, top = first, 0.0
    for i in range(first, end):
        if abs(x[i]) >= FULL and x[i] * repaired[i] > x[i] * x[i]:
            return True
        if abs(repaired[i] - x[i]) > abs(repaired[at] - x[at]):
            at = i
    for i in range(len(x)):
        top = max(top, abs(x[i]))
    return x[at] * repaired[at] > 0.0 and abs(repaired[at]) > abs(x[at]) > TOP * top


@kernel
def _rms(e: Array, first: int, end: int) -> float:
    s = 0.0
    for i in range(first, end):
        s += e[i] * e[i]
    return np.sqrt(s / (end - first))


@kernel
def _most(e: Array, first: int, end: int) -> float:
    most = 0.0
    for i in range(first, end):
        most = max(most, abs(e[i]))
    return most


@kernel
def _judge(x: Array, y: Array, a: Array, first: int, end: int, e: Array, f: Array, numbers: Array) -> None:
    """Compute the numbers of one place from the samples x and those repaired y; e and f are room for residuals."""
    start, stop = first - NEAR - ORDER, end + ORDER + NEAR
    _residual(x, a, e)
    _residual(y[start:stop], a, f[start:stop])
    after = end + ORDER
    before, behind = max(_rms(f, first - NEAR, first), QUIET), max(_rms(f, after, after + NEAR), QUIET)
    beside = max(before, behind)
    most = _most(e, first, end)
    others = max(_most(e, ORDER, first - 2), _most(e, after, len(x)))
    numbers[STEP] = most / beside
    numbers[LEFT] = _rms(f, first, after) / beside
    numbers[SIZE] = _most(x - y, first, end)
    numbers[OTHERS] = others / max(most, 1e-12)
    numbers[UNLIKE] = beside / min(before, behind)
    numbers[INWARD] = 1.0 if _inward(x, y, first, end) else 0.0


@kernel
def look(row: Samples, places: NDArray[np.int64], reach: int, longest: int, taper: Array, found: Array) -> None:
    """Work out the COLUMNS numbers of each place of a channel, into (places, COLUMNS); a place that is too long has 0.

    `row` needs WINDOW samples on either side of each place; `reach` is the number of samples on either side of a
    place that may belong to it, `longest` the most that are replaced, `taper` has (2 * WINDOW,).
    """
    a = np.empty(ORDER + 1)
    e = np.empty(2 * WINDOW)
    f = np.empty(2 * WINDOW)
    for p in range(len(places)):
        found[p, :] = 0.0
        zero = places[p] - WINDOW
        x = row[zero : zero + 2 * WINDOW].astype(np.float64)
        first, end = _reach(x, WINDOW, reach)
        if end - first > longest:
            continue
        y = x.copy()
        for i in range(first, end):
            part = (i - first + 1.0) / (end - first + 1.0)
            y[i] = (1.0 - part) * x[first - 1] + part * x[end]
        start, stop, after = first - NEAR - ORDER, end + ORDER + NEAR, end + ORDER
        for again in range(2):
            _coefficients(y, taper, a)
            y[first:end] = x[first:end]
            _repair(y, a, first, end)
            if again == 0:
                _residual(x[start:stop], a, e[start:stop])
                beside = max(_rms(e, first - NEAR, first), _rms(e, after, stop))
                if _most(e, first, end) < HOPELESS * beside:
                    break
        else:
            _judge(x, y, a, first, end, e, f, found[p])
            found[p, FIRST], found[p, END] = zero + first, zero + end


def taper() -> Array:
    """Return the window that the prediction is worked out with, (2 * WINDOW,)."""
    return np.hanning(2 * WINDOW + 2)[1:-1]


def no_places(count: int) -> Any:
    """Return room for what is found about places, (count, COLUMNS)."""
    return np.zeros((count, COLUMNS))
