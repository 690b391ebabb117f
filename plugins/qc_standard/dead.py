"""Stretches in which one channel is dead while the other has programme.

A channel is dead in a part of 10 ms where its level without direct current is no higher than its own floor, between
-60 and -45 dBFS rms (practice): hiss, dither, hum or nothing; or where it is 40 dB below the other channel (practice):
crosstalk. The floor is 6 dB above the level that one in a hundred of its 100 ms keep under while the other channel has
programme. Over the whole stretch the other channel has to be 20 dB louder (practice), so that a quiet passage is not
taken for a dead channel. A crackle of up to 30 ms in a dead channel does not end the stretch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

CHANNELS = ("left", "right")
LEAST_FLOOR, MOST_FLOOR = 1e-6, 10.0**-4.5
"""Mean squares between which a channel's floor lies: -60 and -45 dBFS rms."""
OVER_FLOOR = 10.0**0.6
"""Power by which a dead channel may exceed its own quietest 100 ms: 6 dB, as hum does within its period."""
CROSSTALK = 1e-4
"""Power over that of the other channel up to which there is only crosstalk: -40 dB."""
CRACKLE = 3
"""Parts of 10 ms for which a dead channel may make a noise: 30 ms ..."""
AROUND = 30
"""... with so many on either side in which it is dead: 300 ms (practice). What is closer together may be music."""
APART = 100.0
"""Power by which the other channel has to be louder over the stretch: 20 dB."""
SHORTEST = 100
"""Parts of programme on the other channel that a stretch has at least: 1 s."""
EDGE = 5
"""Parts of 10 ms before a stretch that say whether the channel was cut off: 50 ms."""
CUT = 100.0
"""Power over the channel's floor in those 50 ms from which it was cut off and did not fade: 20 dB."""


@dataclass(frozen=True, slots=True)
class DeadStretch:
    """Parts of 10 ms from `first` to before `end` in which `channel` is dead."""

    channel: str
    first: int
    end: int
    programme: int
    """parts in it in which the other channel has programme"""
    cut_off: bool
    """whether the channel broke off while the other one went on"""


def dead_stretches(sums: Array, counts: NDArray[np.int64], programme: Flags) -> list[DeadStretch]:
    """Return all dead stretches of 1 s or more, in order of time.

    Parameters
    ----------
    sums
        (parts, 5) sums of L^2, R^2, L R, L, R.
    counts
        (parts,) frames in each.
    programme
        (parts,) whether there is programme.
    """
    n = np.maximum(counts, 1).astype(np.float64)[:, None]
    power = np.maximum(sums[:, :2] / n - (sums[:, 3:5] / n) ** 2, 0.0)
    found = [stretch for channel in (0, 1) for stretch in _of_channel(power, programme, channel)]
    return sorted(found, key=lambda stretch: stretch.first)


def _of_channel(power: Array, programme: Flags, channel: int) -> Iterator[DeadStretch]:
    own, other = power[:, channel], power[:, 1 - channel]
    sounding = programme & (other > LEAST_FLOOR)
    floor = _floor(own, sounding)
    for begin, stop in _quiet(own, other, floor):
        (there,) = np.nonzero(sounding[begin:stop])
        if len(there) < SHORTEST:
            continue
        first, end = begin + int(there[0]), begin + int(there[-1]) + 1
        between = own[first:end]  # without its crackles
        between = between[between <= np.maximum(floor, CROSSTALK * other[first:end])]
        if other[first:end].mean() < APART * between.mean():
            continue
        yield DeadStretch(CHANNELS[channel], first, end, len(there), _cut_off(own, other, begin, floor))


def _quiet(own: Array, other: Array, floor: float) -> list[tuple[int, int]]:
    """Return the runs in which a channel is dead as (first part, end), crackles within them included."""
    quiet = own <= np.maximum(floor, CROSSTALK * other)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]]).astype(np.int8)))
    runs: list[tuple[int, int]] = []
    for begin, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        first, end = runs[-1] if runs else (begin, begin)
        if begin - end <= CRACKLE and min(end - first, stop - begin) >= AROUND:
            runs[-1] = (first, stop)
        else:
            runs.append((begin, stop))
    return runs


def _floor(own: Array, sounding: Flags) -> float:
    """Return the mean square up to which a channel is dead; `sounding` tells where the other one has programme."""
    tenths = len(own) // 10
    level = own[: 10 * tenths].reshape(tenths, 10).mean(axis=1)
    level = level[sounding[: 10 * tenths].reshape(tenths, 10).all(axis=1)]
    lowest = float(np.quantile(level, 0.01)) if len(level) else 0.0
    return min(MOST_FLOOR, max(LEAST_FLOOR, OVER_FLOOR * lowest))


def _cut_off(own: Array, other: Array, begin: int, floor: float) -> bool:
    """Whether the channel was well above its floor right before, and the other one plays on within 10 dB."""
    if begin < EDGE:
        return False
    before, after = slice(begin - EDGE, begin), slice(begin, begin + 2 * EDGE)
    goes_on = other[after].mean() > max(LEAST_FLOOR, 0.1 * other[before].mean())
    return bool(own[before].mean() > CUT * floor and goes_on)
