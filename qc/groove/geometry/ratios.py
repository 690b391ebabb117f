"""Ratios that depend on the groove's speed: their peak, or the share of sectors above 1 in the worst window."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import as_written

Array = NDArray[np.float64]


@as_written
def over(
    one: Array, other: Array, factor: float, radius: Array, least: float, turning: float, edges: float, window: int,
    above: NDArray[np.uint8],
) -> tuple[float, int, int, int]:  # fmt: skip
    """Return value, worst sector, first sector and row of an envelope times `factor` over what the speed allows.

    The speed is `turning` times the radius, which counts as no less than `least`. It is divided by the speed times
    `edges`, the tangent of the back angle, or where that is 0 against the speed squared. Without a window the value
    is the greatest ratio; with one it is the share of sectors in which the greater row is above 1, in the worst
    window, and where there are none the window lies about the greatest ratio. Where there is but one row, it is both.
    `above` (n,) is room to work in, needed where there is a window.
    """
    n = one.shape[0]
    if window == 0:
        value, sector = _greatest(one, one, factor, radius, least, turning, edges)
        second, at = _greatest(other, other, factor, radius, least, turning, edges)
        return (second, at, at, 1) if second > value else (value, sector, sector, 0)
    for i in range(n):
        above[i] = factor * max(one[i], other[i]) > allowed(radius[i], least, turning, edges)
    count = 0
    for i in range(window):
        count += int(above[i])
    most, start = count, 0
    for i in range(window, n):
        count += int(above[i]) - int(above[i - window])
        if count > most:
            most, start = count, i + 1 - window
    if most > 0:
        end = start + window
        _, sector = _greatest(one[start:end], other[start:end], factor, radius[start:end], least, turning, edges)
        sector += start
    else:
        _, sector = _greatest(one, other, factor, radius, least, turning, edges)
        start = max(0, min(sector - window // 2, n - window))
    there = allowed(radius[sector], least, turning, edges)
    row = 1 if factor * other[sector] / there > factor * one[sector] / there else 0
    return most / window, sector, start, row


@as_written
def allowed(radius: float, least: float, turning: float, edges: float) -> float:
    """Return what a velocity or an acceleration is divided by at a radius: see `over`."""
    speed = turning * max(radius, least)
    return speed * edges if edges > 0.0 else speed * speed


@as_written
def _greatest(
    one: Array, other: Array, factor: float, radius: Array, least: float, turning: float, edges: float
) -> tuple[float, int]:  # fmt: skip
    """Return the greatest ratio and its sector."""
    best, at = -np.inf, 0
    for i in range(one.shape[0]):
        ratio = factor * max(one[i], other[i]) / allowed(radius[i], least, turning, edges)
        if ratio > best:
            best, at = ratio, i
    return best, at
