"""Clipped runs: three or more equal samples in a row at a channel's greatest or least value, near full scale.

Only the extreme of the whole stream counts, so a new extreme forgets the runs at the one before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel

Array = NDArray[np.float64]

NEAR_FULL_SCALE = 10.0 ** (-0.1 / 20.0)
"""Magnitude from which an extreme counts: -0.1 dBFS."""
SHORTEST = 3
"""Equal samples that make a run."""
WIDTH = 6
"""Numbers that are kept of the runs at one extreme."""


@kernel
def _walk(
    row: Array, start: int, stop: int, sign: float, zero: int, top: float, runs: NDArray[np.int64], at: int
) -> float:
    """Follow sign * row[start:stop] and give the top; `zero` is the number of the frame at index 0.

    From runs[at] on: length now, number, longest, its first frame, the first frame of all, the one behind the last.
    """
    now, count, longest, first = runs[at], runs[at + 1], runs[at + 2], runs[at + 3]
    begin, end = runs[at + 4], runs[at + 5]
    for i in range(start, stop):
        v = sign * row[i]
        if v > top:
            top, now, count, longest, first = v, 1, 0, 0, 0
        elif v == top:
            now += 1
            if now >= SHORTEST:
                end = zero + i + 1
                if now == SHORTEST:
                    count += 1
                    if count == 1:
                        begin = end - SHORTEST
                if now > longest:
                    longest, first = now, end - now
        else:
            now = 0
    runs[at], runs[at + 1], runs[at + 2], runs[at + 3] = now, count, longest, first
    runs[at + 4], runs[at + 5] = begin, end
    return top


@kernel
def follow(row: Array, start: int, stop: int, frame: int, tops: Array, runs: NDArray[np.int64]) -> None:
    """Follow row[start:stop], whose first is number `frame`; tops (2,) and runs (12,): those up, then those down."""
    for way in range(2):
        tops[way] = _walk(row, start, stop, 1.0 - 2.0 * way, frame - start, tops[way], runs, WIDTH * way)


@kernel
def interrupt(runs: NDArray[np.int64]) -> None:
    """End the present runs: a sample is below both tops."""
    runs[0] = runs[WIDTH] = 0


@dataclass(frozen=True, slots=True)
class Runs:
    """Clipped runs of one channel, those at its greatest and those at its least value."""

    count: int
    longest: int
    """samples in the longest run, the earliest of equals; 0 without a run"""
    frame: int
    """its first frame"""
    begin: int = 0
    """first frame of the first run"""
    end: int = 0
    """frame behind the last run"""


def fresh() -> tuple[Array, NDArray[np.int64]]:
    """Return the tops and the runs of two channels before their first frame, (2, 2) and (2, 12).

    An extreme below the threshold never counts, so the threshold takes its place.
    """
    return np.full((2, 2), NEAR_FULL_SCALE), np.zeros((2, 2 * WIDTH), dtype=np.int64)


def together(runs: NDArray[np.int64]) -> Runs:
    """Return the runs of one channel, (12,), those up and those down as one."""
    ways = [Runs(*(int(number) for number in way[1:])) for way in runs.reshape(2, WIDTH) if way[1]]
    if not ways:
        return Runs(0, 0, 0)
    longest = max(ways, key=lambda one: (one.longest, -one.frame))
    begin, end = min(one.begin for one in ways), max(one.end for one in ways)
    return Runs(sum(one.count for one in ways), longest.longest, longest.frame, begin, end)
