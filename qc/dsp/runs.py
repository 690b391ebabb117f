"""Clipped runs: three or more equal samples in a row at a channel's greatest or least value, near full scale.

Only the extreme of the whole stream counts, so a new extreme forgets the runs at the one before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel
from qc.dsp.search import largest

Array = NDArray[np.float64]

NEAR_FULL_SCALE = 10.0 ** (-0.1 / 20.0)
"""Magnitude from which an extreme counts: -0.1 dBFS."""
SHORTEST = 3
"""Equal samples that make a run."""
_CHUNK = 128


@kernel
def _walk(row: Array, start: int, stop: int, sign: float, frame: int, top: float, runs: NDArray[np.int64]) -> float:
    """Follow sign * row[start:stop] and give the top; runs: length now, number, longest, its first frame."""
    now, count, longest, first = runs[0], runs[1], runs[2], runs[3]
    for i in range(start, stop):
        v = sign * row[i]
        if v > top:
            top, now, count, longest, first = v, 1, 0, 0, 0
        elif v == top:
            now += 1
            count += now == SHORTEST
            if now >= SHORTEST and now > longest:
                longest, first = now, frame + i - now + 1
        else:
            now = 0
    runs[0], runs[1], runs[2], runs[3] = now, count, longest, first
    return top


@kernel
def follow(x: Array, frame: int, tops: Array, runs: NDArray[np.int64]) -> None:
    """Hear x (2, n) from frame number `frame` on; tops (2, 2), runs (2, 2, 4): channel, then up and down."""
    n = x.shape[1]
    for c in range(2):
        row = x[c]
        for start in range(0, n, _CHUNK):
            stop = min(start + _CHUNK, n)
            reach = largest(row, start, stop)[0]
            if reach >= tops[c, 0]:
                tops[c, 0] = _walk(row, start, stop, 1.0, frame, tops[c, 0], runs[c, 0])
            else:
                runs[c, 0, 0] = 0
            if reach >= tops[c, 1]:
                tops[c, 1] = _walk(row, start, stop, -1.0, frame, tops[c, 1], runs[c, 1])
            else:
                runs[c, 1, 0] = 0


@dataclass(frozen=True, slots=True)
class Runs:
    """Clipped runs of one channel, those at its greatest and those at its least value."""

    count: int
    longest: int
    """samples in the longest run, the earliest of equals; nought when there is none"""
    frame: int
    """its first frame"""


class ClippedRuns:
    """Counts the clipped runs of two channels."""

    def __init__(self) -> None:
        # an extreme below the threshold never counts, so the threshold stands in for it
        self._tops = np.full((2, 2), NEAR_FULL_SCALE)
        self._runs = np.zeros((2, 2, 4), dtype=np.int64)
        self._frames = 0

    def push(self, x: Array) -> None:
        """Take the next frames, (2, n)."""
        follow(np.ascontiguousarray(x), self._frames, self._tops, self._runs)
        self._frames += x.shape[1]

    def finish(self) -> tuple[Runs, Runs]:
        """Give the runs of the left and right channel."""
        left, right = (self._together(runs) for runs in self._runs)
        return left, right

    @staticmethod
    def _together(runs: NDArray[np.int64]) -> Runs:
        up, down = ((int(r[1]), int(r[2]), int(r[3])) for r in runs)
        _, longest, frame = max(up, down, key=lambda r: (r[1], -r[2]))
        return Runs(up[0] + down[0], longest, frame)
