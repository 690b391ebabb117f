"""Fourth differences of the samples by parts of 1 ms: what is left of a sound where nothing leaves its curve."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api.kernels import kernel

Samples = NDArray[np.float32]

MARGIN = 2
"""Samples before and after a part that its differences take in."""


@kernel
def _fold(row: Samples, part: int, room: Samples, most: Samples, squares: Samples) -> None:
    """Compute both of each part of `row`, which has MARGIN samples before the first and after the last.

    The squares are folded twice and then summed, so that the processor takes eight at a time; `room` has
    3 * (part + 4) zeros.
    """
    quarter = (part + 3) // 4
    half = 2 * quarter
    four, six, none = np.float32(4.0), np.float32(6.0), np.float32(0.0)
    low, high = room[:half], room[half : 2 * half]
    whole, total, peak = room[: 2 * half], room[2 * half : 3 * half], room[3 * half : 4 * half]
    total_on, peak_on = total[quarter:half], peak[quarter:half]
    for k in range(len(most)):
        at = k * part
        a, b, c = row[at : at + part], row[at + 1 : at + 1 + part], row[at + 2 : at + 2 + part]
        d, e = row[at + 3 : at + 3 + part], row[at + 4 : at + 4 + part]
        for j in range(part):
            fourth = (a[j] + e[j]) - four * (b[j] + d[j]) + six * c[j]
            whole[j] = fourth * fourth
        for j in range(half):
            total[j] = low[j] + high[j]
        for j in range(half):
            peak[j] = max(high[j], low[j])
        for j in range(quarter):
            total[j] = total[j] + total_on[j]
        for j in range(quarter):
            peak[j] = max(peak_on[j], peak[j])
        sum_of, greatest = none, none
        for j in range(quarter):
            sum_of += total[j]
        for j in range(quarter):
            greatest = max(greatest, peak[j])
        squares[k] = sum_of / np.float32(part)
        most[k] = np.sqrt(greatest)


def fourth_differences(row: Samples, part: int) -> tuple[Samples, Samples]:
    """Return the greatest magnitude and the mean square of the fourth differences of each part, (parts,) each.

    The difference that belongs to a sample is centred there; `row` holds whole parts, and MARGIN samples before the
    first and after the last.
    """
    count = (len(row) - 2 * MARGIN) // part
    most, squares = np.zeros(count, np.float32), np.zeros(count, np.float32)
    _fold(row, part, np.zeros(4 * (part + 4), np.float32), most, squares)
    return most, squares
