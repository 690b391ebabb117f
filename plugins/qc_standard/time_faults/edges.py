"""Places at which the level of a channel falls or rises at once, by parts of 1 ms.

A sudden edge: the power, and those of the first and the fourth difference, fall from the mean of the 8 ms before to
the mean of the 8 ms behind, two of the three by LEAST. A steady edge: the least of the 50 ms before is STRONG above the
greatest of the 4 ms behind, as only a sound without pulses has it; it shows what lasts for some milliseconds alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api.kernels import kernel

Array = NDArray[np.float64]

WIDTH = 8
"""Parts on either side of a sudden edge."""
LEAST = 4.0
"""Ratio of powers of a sudden edge: 6 dB."""
STRONG = 10.0**0.9
"""Ratio of powers of a steady edge: 9 dB."""
SIDE, INNER = 50, 4
"""Parts before a steady fall, and behind it."""
FLOOR = 1e-13
"""Power that is added to those of differences, so that silence has a level."""
POWERS = 3


@kernel
def _sudden(rows: Array, first: int, least: Array, second: Array) -> None:
    """Compute the least and the second ratio of the rows' means before and behind the parts from `first` on."""
    ratios = np.empty((POWERS, len(least)))
    n = rows.shape[1]
    two, four, mean = np.empty(n), np.empty(n), np.empty(n)
    for row in range(POWERS):
        power = rows[row]
        for i in range(n - 1):
            two[i] = power[i] + power[i + 1]
        for i in range(n - 3):
            four[i] = two[i] + two[i + 2]
        for i in range(n - 7):
            mean[i] = four[i] + four[i + 4]
        for j in range(len(least)):
            ratios[row, j] = mean[first + j - WIDTH] / mean[first + j + 1]
    for j in range(len(least)):
        a, b, c = ratios[0, j], ratios[1, j], ratios[2, j]
        least[j] = min(a, b, c)
        second[j] = max(min(a, b), min(max(a, b), c))


@kernel
def _peaks(ratio: Array, found: NDArray[np.bool_]) -> None:
    """Mark the greatest ratios from LEAST on; `ratio` has one value more on either side than `found`."""
    for j in range(len(found)):
        found[j] = ratio[j + 1] >= LEAST and ratio[j + 1] >= ratio[j] and ratio[j + 1] > ratio[j + 2]


@kernel
def _steady_fall(here: Array, level: Array, k: int) -> float:
    """Return the least of the SIDE parts before part k over the greatest of INNER behind it, 0 below STRONG.

    `level` has the mean of two parts from each part on.
    """
    low = FLOOR
    for i in range(INNER):
        low = max(low, here[k + 1 + i])
    least = level[k - 3]
    for i in range(SIDE - 1):
        least = min(least, level[k - 3 - i])
        if least <= STRONG * low:
            return 0.0
    return least / low


@kernel
def _steady(here: Array, first: int, found: NDArray[np.bool_]) -> None:
    """Mark the parts from `first` on that are a steady fall."""
    level = np.zeros(len(here))
    for j in range(len(here) - 1):
        level[j] = 0.5 * (here[j] + here[j + 1])
    before, fall = 0.0, _steady_fall(here, level, first)
    for j in range(len(found)):
        after = _steady_fall(here, level, first + j + 1)
        if fall > 0.0 and fall >= before and fall >= after:
            found[j] = True
        before, fall = fall, after


def steady_falls(here: Array, first: int, count: int) -> NDArray[np.int64]:
    """Return the `count` parts from `first` on at which the level `here` (parts,) has a steady fall, in order."""
    found = np.zeros(count, np.bool_)
    _steady(here, first, found)
    return np.flatnonzero(found) + first


def sudden_falls(rows: Array, first: int, count: int) -> tuple[NDArray[np.int64], Array, Array]:
    """Return the parts from `first` on at which the powers (3, parts) fall, and both ratios, (count + 2,).

    The first value of the ratios is that of the part before `first`.
    """
    least, second = np.empty(count + 2), np.empty(count + 2)
    _sudden(rows, first - 1, least, second)
    found = np.empty(count, np.bool_)
    _peaks(second, found)
    return np.flatnonzero(found) + first, least, second


@kernel
def _mean(here: Array, first: int, end: int) -> float:
    total = 0.0
    for i in range(first, end):
        total += here[i]
    return total / (end - first)


@kernel
def _sides(here: Array, places: NDArray[np.int64], widths: NDArray[np.int64], before: Array, behind: Array) -> None:
    """Compute the mean of some numbers of parts before and behind places, (places, widths) each."""
    for i in range(len(places)):
        k = places[i]
        for j in range(len(widths)):
            before[i, j] = _mean(here, k - widths[j], k)
            behind[i, j] = _mean(here, k + 1, k + 1 + widths[j])


def sides(here: Array, places: NDArray[np.int64], widths: tuple[int, ...]) -> tuple[Array, Array]:
    """Return the mean levels in dB of so many parts before and behind places, (places, widths) each."""
    before, behind = np.empty((len(places), len(widths))), np.empty((len(places), len(widths)))
    _sides(here, places, np.asarray(widths, np.int64), before, behind)
    return 10.0 * np.log10(before), 10.0 * np.log10(behind)
