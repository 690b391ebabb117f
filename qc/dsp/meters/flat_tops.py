"""Flat tops: waves that were cut off at any level, such as a clipped master that was turned down afterwards.

A flat top is a run of samples within SPREAD of each other at the greatest (or least) value about it, from which the
wave falls away on both sides more steeply than a rounded crest would. With m samples in the run, e the range of their
values plus one step of 16 bits, and f the fall within two samples outside the run, the smaller of both sides, that is

    f >= LEAST_FALL and (f / e) ** (m - 1) >= SURE

For a crest that is a parabola f / e is at most ((m + 3) / (m - 1)) ** 2, so (f / e) ** (m - 1) is below 3,000 for any
m; for a wave without any shape, whose samples differ by f or so, it is about how many runs one waits for until m of
them agree to within e by chance. A waveform that jumps to other flat parts on both sides, as square waves and
staircases do, is no flat top.

At the extreme of a whole channel near full scale, where a file ends, it takes no chance to make samples equal: there
three in a row are enough, from which the wave falls by ROUND * e or more.

Each segment is looked at with 16 samples on either side. A run can only lie there if four samples side by side reach
its greatest value; sixteen maxima, of every sixteenth sample each, say whether they do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel
from qc.dsp.kernels.simd import any_at_least, greater, joiner, lesser, loader, picker, splatter, store

Array = NDArray[np.float64]

LEAST = 0.05
"""Magnitude from which a flat top counts: -26 dBFS (practice)."""
GRID = 2.0**-15
"""A step of 16 bits: samples may be as coarse as that, also where a file of more bits came from one of 16."""
SPREAD = 2.0 * GRID
"""Samples that differ by no more are equal: dither at 16 bits moves a sample by one step up or down."""
LEAST_FALL = 8.0 * GRID
"""Least fall on either side of a flat top (practice)."""
SURE = 1e9
"""Probability by chance below which a run counts; two hours of music have some 1e9 samples (practice)."""
SHORTEST = 4
"""Samples of the shortest run; three would have to fall by full scale on both sides."""
SHORTEST_AT_TOP = 3
"""Samples of the shortest run at the extreme of a channel near full scale."""
ROUND = 16.0
"""Fall from such a run, as a multiple of e; that of a parabola is 9 at the most."""
WIDTH = 24
"""Numbers that are kept of the flat tops up, and as many of those down; see `follow`."""
_LENIENT, _AT_TOP, _BELOW = 6, 12, 18

_load, _splat = loader(8), splatter(8)
_on_1, _on_2 = joiner(range(1, 9)), joiner(range(2, 10))
_turned_4, _turned_2, _turned_1 = (picker([(i + by) % 8 for i in range(8)]) for by in (4, 2, 1))


@kernel
def plateau(a: Any, b: Any) -> bool:
    """Whether four neighbours of 16 maxima, (8,) and (8,) as vectors, the last next to the first, are the greatest."""
    a_on, b_on = lesser(a, _on_1(a, b)), lesser(b, _on_1(b, a))
    four = greater(lesser(a_on, _on_2(a_on, b_on)), lesser(b_on, _on_2(b_on, a_on)))
    top = greater(a, b)
    top = greater(top, _turned_4(top))
    top = greater(top, _turned_2(top))
    top = greater(top, _turned_1(top))
    return any_at_least(four, top - _splat(SPREAD))


@kernel
def _alike(row: Array, i: int, j: int) -> bool:
    return abs(row[i] - row[j]) <= SPREAD


@kernel
def _flat_from(row: Array, i: int, way: int) -> float:
    """Return 1 where three of four samples from row[i] on, forwards (way 1) or backwards (-1), are equal in a row."""
    j, k = i + way, i + 2 * way
    return 1.0 if _alike(row, j, k) and (_alike(row, i, j) or _alike(row, k, i + 3 * way)) else 0.0


@kernel
def _is_sure(samples: int, fall: float, spread: float) -> bool:
    """Whether a run of so many samples is a flat top, by its smaller fall and the range of its values."""
    if fall < LEAST_FALL or samples < SHORTEST:
        return False
    chance, ratio = 1.0, fall / (spread + GRID)
    for _ in range(1, samples):
        chance *= ratio
        if chance >= SURE:
            return True
    return False


@kernel
def _add(flats: Array, at: int, samples: float, first: float, level: float) -> None:
    """Count a flat top in the group from flats[at] on: number, longest, its first frame, first, last, its level."""
    if flats[at] == 0.0:
        flats[at + 3] = first
    flats[at] += 1.0
    flats[at + 4] = first + samples
    if samples > flats[at + 1]:
        flats[at + 1], flats[at + 2], flats[at + 5] = samples, first, level


@kernel
def _sink(flats: Array, at: int) -> None:
    """Put the flat tops at what was the extreme so far with those below it, for there is a greater one now."""
    top, below = at + _AT_TOP, at + _BELOW
    if flats[top] > 0.0:
        first = min(flats[top + 3], flats[below + 3]) if flats[below] > 0.0 else flats[top + 3]
        flats[below] += flats[top]
        flats[below + 3], flats[below + 4] = first, max(flats[top + 4], flats[below + 4])
        if flats[top + 1] > flats[below + 1] or (
            flats[top + 1] == flats[below + 1] and flats[top + 2] < flats[below + 2]
        ):
            for i in range(1, 3):
                flats[below + i] = flats[top + i]
            flats[below + 5] = flats[top + 5]
    for i in range(6):
        flats[top + i] = flats[at + _LENIENT + i] = 0.0


@kernel
def _walk(
    row: Array, at: int, stop: int, zero: int, sign: float, least: float, extreme: float, flats: Array, here: int
) -> None:
    """Follow sign * row[at:stop], where samples of `least` and above make runs; `zero` is the frame at index 0.

    From flats[here] on: 1 where a run is open, its first frame, its least and greatest value, the lesser of the two
    values before it, 1 where the wave was flat before it.
    """
    i = at
    if flats[here] == 0.0:  # a run may have begun in the segment before, which was passed over
        while i > at - 12 and sign * row[i] >= least and sign * row[i - 1] >= least:
            i -= 1
    while i < stop:
        v = sign * row[i]
        if v >= least:
            if flats[here] == 0.0:
                flats[here], flats[here + 1], flats[here + 2], flats[here + 3] = 1.0, float(zero + i), v, v
                flats[here + 4], flats[here + 5] = min(sign * row[i - 1], sign * row[i - 2]), _flat_from(row, i - 1, -1)
            flats[here + 2], flats[here + 3] = min(v, flats[here + 2]), max(v, flats[here + 3])
        elif flats[here] != 0.0:
            flats[here] = 0.0
            low, high, samples = flats[here + 2], flats[here + 3], zero + i - int(flats[here + 1])
            fall = low - max(flats[here + 4], min(v, sign * row[i + 1]))
            square = flats[here + 5] * _flat_from(row, i, 1)
            if i >= at and square == 0.0:
                sure, at_top = _is_sure(samples, fall, high - low), high >= extreme - SPREAD
                if sure:
                    _add(flats, here + (_AT_TOP if at_top else _BELOW), float(samples), flats[here + 1], sign * high)
                steep = samples >= SHORTEST_AT_TOP and fall >= ROUND * (high - low + GRID)
                if at_top and (sure or steep):
                    _add(flats, here + _LENIENT, float(samples), flats[here + 1], sign * high)
        i += 1


@kernel
def follow(row: Array, at: int, stop: int, frame: int, tops: Array, before: Array, flats: Array, y: Array) -> None:
    """Look for flat tops that end in row[at:stop], whose first is number `frame`; 16 samples more on either side.

    tops (2,) are the extremes up and down so far, before (2,) those before this segment, as `runs` has them; y (32,) is
    room to work in. flats (2 WIDTH,), those up, then those down: the open run, then three times number, samples of the
    longest, its first frame, the first frame of all, the frame behind the last and the level of the longest: of those
    at the extreme so far, the short ones among them; of those at it that would count anywhere; of those below it.
    """
    above = below = _load(row, at - 16)
    above_on = below_on = _load(row, at - 8)
    for i in range(at, stop + 16, 16):
        v, w = _load(row, i), _load(row, i + 8)
        above, above_on = greater(v, above), greater(w, above_on)
        below, below_on = lesser(v, below), lesser(w, below_on)
    for way in range(2):
        here, sign = WIDTH * way, 1.0 - 2.0 * way
        a = above if way == 0 else _splat(0.0) - below
        b = above_on if way == 0 else _splat(0.0) - below_on
        if tops[way] > before[way] + SPREAD:
            _sink(flats, here)
        before[way] = tops[way]
        store(y, 0, greater(a, b))
        top = y[0]
        for i in range(1, 8):
            top = max(top, y[i])
        if top >= LEAST and (top >= tops[way] or plateau(a, b)):
            _walk(row, at, stop, frame - at, sign, max(LEAST, top - SPREAD), tops[way], flats, here)
        else:
            flats[here] = 0.0


@kernel
def interrupt(flats: Array) -> None:
    """Pass over samples in which no flat top can end."""
    flats[0] = flats[WIDTH] = 0.0


@dataclass(frozen=True, slots=True)
class FlatRuns:
    """Flat tops of one channel, up and down."""

    count: int = 0
    longest: int = 0
    """samples of the longest"""
    frame: int = 0
    """its first frame"""
    begin: int = 0
    """first frame of the first"""
    end: int = 0
    """frame behind the last"""
    level: float = 0.0
    """value of the longest, full scale 1.0, with its sign"""


def fresh() -> Array:
    """Return the state of `follow` for two channels before their first frame, (2, 2 WIDTH)."""
    return np.zeros((2, 2 * WIDTH))


def found(flats: Array) -> FlatRuns:
    """Return the flat tops of one channel, (2 WIDTH,), up and down, at its extremes and below them."""
    ways = flats.reshape(2, WIDTH)
    return _joined([_group(way[at : at + 6]) for way in ways for at in (_LENIENT, _BELOW)])


def _group(numbers: Array) -> FlatRuns:
    count, longest, frame, begin, end = (int(number) for number in numbers[:5])
    return FlatRuns(count, longest, frame, begin, end, float(numbers[5]))


def _joined(several: list[FlatRuns]) -> FlatRuns:
    """Join several groups to one, the earliest of the longest first."""
    several = [one for one in several if one.count]
    if not several:
        return FlatRuns()
    longest = max(several, key=lambda one: (one.longest, -one.frame))
    begin, end = min(one.begin for one in several), max(one.end for one in several)
    count = sum(one.count for one in several)
    return FlatRuns(count, longest.longest, longest.frame, begin, end, longest.level)
