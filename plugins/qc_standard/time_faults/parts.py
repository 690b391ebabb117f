"""Differences of the samples by parts of 1 ms.

The fourth difference is what is left of a sound where nothing leaves its curve; the first is the sound, treble lifted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api.kernels import kernel

Samples = NDArray[np.float32]

MARGIN = 2
"""Samples before and after a part that its differences take in."""
MOST, SQUARES, LEVEL, POWER = range(4)
"""Rows of the differences of parts: greatest magnitude and mean square of the fourth, mean square of the first and of
the samples themselves."""


@kernel
def _fold(row: Samples, part: int, room: Samples, out: Samples) -> None:
    """Compute the differences of each part of `row`, which has MARGIN samples before the first and after the last.

    The squares are folded twice and then summed, so that the processor takes eight at a time; `room` has
    10 * (part + 4) zeros.
    """
    quarter = (part + 3) // 4
    half = 2 * quarter
    four, six, none = np.float32(4.0), np.float32(6.0), np.float32(0.0)
    whole, first = room[: 2 * half], room[2 * half : 4 * half]
    low, high, first_low, first_high = whole[:half], whole[half:], first[:half], first[half:]
    total, peak, level = room[4 * half : 5 * half], room[5 * half : 6 * half], room[6 * half : 7 * half]
    total_on, peak_on, level_on = total[quarter:], peak[quarter:], level[quarter:]
    power = room[7 * half : 9 * half]
    power_2, power_3, power_4 = power[quarter:], power[half:], power[half + quarter :]
    for k in range(out.shape[1]):
        at = k * part
        a, b, c = row[at : at + part], row[at + 1 : at + 1 + part], row[at + 2 : at + 2 + part]
        d, e = row[at + 3 : at + 3 + part], row[at + 4 : at + 4 + part]
        for j in range(part):
            fourth = (a[j] + e[j]) - four * (b[j] + d[j]) + six * c[j]
            whole[j] = fourth * fourth
        for j in range(part):
            difference = c[j] - b[j]
            first[j] = difference * difference
            power[j] = c[j] * c[j]
        for j in range(half):
            total[j] = low[j] + high[j]
        for j in range(half):
            peak[j] = max(high[j], low[j])
        for j in range(half):
            level[j] = first_low[j] + first_high[j]
        sum_of, greatest, sum_of_first, sum_of_power = none, none, none, none
        for j in range(quarter):
            sum_of += total[j] + total_on[j]
            greatest = max(greatest, peak_on[j], peak[j])
            sum_of_first += level[j] + level_on[j]
            sum_of_power += (power[j] + power_2[j]) + (power_3[j] + power_4[j])
        out[MOST, k] = np.sqrt(greatest)
        out[SQUARES, k] = sum_of / np.float32(part)
        out[LEVEL, k] = sum_of_first / np.float32(part)
        out[POWER, k] = sum_of_power / np.float32(part)


def differences(row: Samples, part: int) -> Samples:
    """Return the MOST, SQUARES, LEVEL and POWER of each part, (4, parts).

    The fourth difference that belongs to a sample is centred there, the first is that from the sample before; `row`
    holds whole parts, and MARGIN samples before the first and after the last.
    """
    out = np.zeros((4, (len(row) - 2 * MARGIN) // part), np.float32)
    _fold(row, part, np.zeros(10 * (part + 4), np.float32), out)
    return out
