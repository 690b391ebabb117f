"""Clipped runs: three or more equal samples in a row at a channel's greatest or least value, near full scale.

Only the extreme of the whole stream counts, so a new extreme forgets the runs at the one before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel

Array = NDArray[np.float64]

NEAR_FULL_SCALE = 10.0 ** (-0.1 / 20.0)
"""Magnitude from which an extreme counts: -0.1 dBFS."""
SHORTEST = 3
"""Equal samples that make a run."""


@kernel
def _walk(
    row: Array, start: int, stop: int, sign: float, zero: int, top: float, runs: NDArray[np.int64], at: int
) -> float:
    """Follow sign * row[start:stop] and give the top; `zero` is the number of the frame at index 0.

    From runs[at] on: length now, number, longest, its first frame.
    """
    now, count, longest, first = runs[at], runs[at + 1], runs[at + 2], runs[at + 3]
    for i in range(start, stop):
        v = sign * row[i]
        if v > top:
            top, now, count, longest, first = v, 1, 0, 0, 0
        elif v == top:
            now += 1
            count += now == SHORTEST
            if now >= SHORTEST and now > longest:
                longest, first = now, zero + i - now + 1
        else:
            now = 0
    runs[at], runs[at + 1], runs[at + 2], runs[at + 3] = now, count, longest, first
    return top


@kernel
def follow(row: Array, start: int, stop: int, frame: int, tops: Array, runs: NDArray[np.int64]) -> None:
    """Hear row[start:stop], whose first is number `frame`; tops (2,) and runs (8,): those up, then those down."""
    for way in range(2):
        tops[way] = _walk(row, start, stop, 1.0 - 2.0 * way, frame - start, tops[way], runs, 4 * way)


@kernel
def interrupt(runs: NDArray[np.int64]) -> None:
    """Hear samples that are below both tops."""
    runs[0] = runs[4] = 0


@dataclass(frozen=True, slots=True)
class Runs:
    """Clipped runs of one channel, those at its greatest and those at its least value."""

    count: int
    longest: int
    """samples in the longest run, the earliest of equals; nought when there is none"""
    frame: int
    """its first frame"""


def fresh() -> tuple[Array, NDArray[np.int64]]:
    """Give the tops and the runs of two channels before anything was heard, (2, 2) and (2, 8).

    An extreme below the threshold never counts, so the threshold stands in for it.
    """
    return np.full((2, 2), NEAR_FULL_SCALE), np.zeros((2, 8), dtype=np.int64)


def together(runs: NDArray[np.int64]) -> Runs:
    """Give the runs of one channel, (8,), those up and those down as one."""
    up, down = ((int(r[1]), int(r[2]), int(r[3])) for r in runs.reshape(2, 4))
    _, longest, frame = max(up, down, key=lambda r: (r[1], -r[2]))
    return Runs(up[0] + down[0], longest, frame)
