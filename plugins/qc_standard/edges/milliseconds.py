"""Energy of every millisecond of a side, its greatest step from one sample to the next, and leaps out of silence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Analysis, Block, Chain, Stream
from qc.plugin_api.kernels import kernel, read_only

Array = NDArray[np.float64]
Narrow = NDArray[np.float32]


QUIET = 10.0**-4.5
"""Mean square up to which a cell is quiet: -45 dBFS rms."""
LONG, AFTER = 100, 60
"""Steps are measured in quiet cells after so many of them, and in so many cells that follow these."""
LEAP = 10.0**-1.5
"""What lies before a leap, over the sample that leaps: -30 dB."""
LOUD = 1e9
"""A magnitude from which nothing leaps."""


@kernel
def add_frames(left: Array, right: Array, first: int, stop: int, state: Array) -> None:
    """Add frames of one cell, one by one.

    `state` (9,) is the sum of squares, the greatest squared step, the last sample of each channel, the quiet cells in
    a row, the cells whose steps are still to be measured, the greatest magnitude of the cell before and of this cell,
    and the leap of this cell.
    """
    for i in range(first, stop):
        a, b = left[i], right[i]
        step = (a - state[2]) ** 2 + (b - state[3]) ** 2
        state[0] += a * a + b * b
        state[1] = max(state[1], step)
        state[2], state[3] = a, b
        leap(max(abs(a), abs(b)), state)


@kernel
def leap(magnitude: float, state: Array) -> None:
    """Take a sample as the leap of its cell where it lies far above all before it, back to the cell before."""
    if magnitude > state[7]:
        if LEAP * magnitude >= max(state[6], state[7]):
            state[8] = magnitude
        state[7] = magnitude


@kernel
def next_cell(counts: bool, state: Array) -> float:
    """Return the leap of a cell that ends, 0.0 where it does not count, and begin the next one."""
    found = state[8] if counts else 0.0
    state[6] = state[7] if counts else LOUD
    state[7] = state[8] = 0.0
    return found


@kernel
def end_cell(energy: float, limit: float, state: Array) -> bool:
    """Whether the steps of a cell count, by the cells before it; then count it as quiet or not."""
    counts = state[4] >= LONG or state[5] > 0
    if energy > limit:
        state[5] = AFTER if state[4] >= LONG else state[5] - 1
        state[4] = 0
    else:
        state[5] -= 1
        state[4] += 1
    return counts


@kernel
def whole_cells(
    left: Array, right: Array, first: int, cell: int, state: Array, energy: Narrow, step: Narrow, leaps: Narrow
) -> None:
    """Write the energy, greatest squared step and leap of consecutive cells from index `first` on; first > 0."""
    for k in range(len(energy)):
        at = first + k * cell
        one, two = left[at - 1 : at + cell], right[at - 1 : at + cell]
        s0 = s1 = s2 = s3 = 0.0
        t0 = t1 = t2 = t3 = 0.0
        for q in range(cell // 4):
            i = 4 * q
            s0 += one[i + 1] * one[i + 1]
            t0 += two[i + 1] * two[i + 1]
            s1 += one[i + 2] * one[i + 2]
            t1 += two[i + 2] * two[i + 2]
            s2 += one[i + 3] * one[i + 3]
            t2 += two[i + 3] * two[i + 3]
            s3 += one[i + 4] * one[i + 4]
            t3 += two[i + 4] * two[i + 4]
        for i in range(cell - cell % 4, cell):
            s0 += one[i + 1] * one[i + 1]
            t0 += two[i + 1] * two[i + 1]
        energy[k] = total = (s0 + s1) + (s2 + s3) + ((t0 + t1) + (t2 + t3))
        step[k] = 0.0
        counts = end_cell(total, QUIET * 2 * cell, state)
        if counts:
            most = 0.0
            for i in range(cell):
                u = (one[i + 1] - one[i]) ** 2 + (two[i + 1] - two[i]) ** 2
                most = max(most, u)
                leap(max(abs(one[i + 1]), abs(two[i + 1])), state)
            step[k] = most
        leaps[k] = next_cell(counts, state)
    last = first + len(energy) * cell - 1
    state[2], state[3] = left[last], right[last]


@dataclass(frozen=True, eq=False)
class MillisecondCells:
    """Cells of a millisecond from frame 0 on; the last frames of the file, less than a cell, are left out."""

    power: NDArray[np.float32]
    """(cells,) mean square of both channels"""
    step: NDArray[np.float32]
    """(cells,) greatest step between two samples, of both channels together, full scale 1.0, where a quiet stretch of
    100 ms ends: its last cells and 60 more; elsewhere 0. Before frame 0 is silence."""
    leaps: NDArray[np.float64]
    """(leaps, 2) cell, and magnitude of the greatest sample in it that lies 30 dB above all before it there and in the
    cell before; where steps are measured. In order of cells."""
    seconds: float
    """length of a cell: a whole number of frames, so 1 ms nearly or exactly"""

    def leap(self, first: int, stop: int) -> float:
        """Return the greatest leap in a range of cells, full scale 1.0; 0.0 where there is none."""
        begin, end = np.searchsorted(self.leaps[:, 0], (first, stop))
        return float(self.leaps[begin:end, 1].max(initial=0.0))


@dataclass(frozen=True)
class Milliseconds(Analysis[MillisecondCells]):
    """Energy and greatest step of every millisecond."""

    id: ClassVar[str] = "edges.milliseconds"
    cost: ClassVar[float] = 0.5

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _SummingCells:
        """Return the initial state for a stream of two channels."""
        return _SummingCells(stream)


class _SummingCells:
    def __init__(self, stream: Stream) -> None:
        self._rate, self._cell = stream.rate, max(1, round(stream.rate / 1000))
        self._filled, self._count = 0, 0
        self._state = np.array([0.0, 0.0, 0.0, 0.0, LONG, 0.0, 0.0, 0.0, 0.0])
        self._rows = np.zeros((2, stream.frames // self._cell + 64), dtype=np.float32)
        self._leaps = [np.zeros((0, 2))]

    def push(self, block: Block) -> None:
        """Process the next block."""
        x = read_only(np.ascontiguousarray(block.samples))
        left, right, frames, at = x[0], x[1], x.shape[1], 0
        while at < frames:
            # A cell begins frame by frame where its first step reaches back into the block before.
            whole = (frames - at) // self._cell if at and not self._filled else 0
            if whole:
                leaps = np.empty(whole, dtype=np.float32)
                energy, step = self._room(whole)
                whole_cells(left, right, at, self._cell, self._state, energy, step, leaps)
                self._add_leaps(leaps)
                at += whole * self._cell
            else:
                at = self._slowly(left, right, at, min(frames, at + self._cell - self._filled))

    def _slowly(self, left: Array, right: Array, at: int, stop: int) -> int:
        """Add the frames of a cell that lies in two blocks, or at the beginning of one; return `stop`."""
        add_frames(left, right, at, stop, self._state)
        self._filled += stop - at
        if self._filled == self._cell:
            energy, step = self._room(1)
            total, most = self._state[:2].tolist()
            energy[0] = total
            counts = end_cell(total, QUIET * 2 * self._cell, self._state)
            step[0] = most if counts else 0.0
            self._add_leaps(np.array([next_cell(counts, self._state)], dtype=np.float32))
            self._state[:2], self._filled = 0.0, 0
        return stop

    def _add_leaps(self, leaps: Narrow) -> None:
        """Add the leaps of the last cells."""
        (there,) = np.nonzero(leaps)
        if len(there):
            self._leaps.append(np.column_stack((self._count - len(leaps) + there, leaps[there])))

    def _room(self, cells: int) -> tuple[Narrow, Narrow]:
        start, self._count = self._count, self._count + cells
        if self._count > self._rows.shape[1]:
            grown = np.zeros((2, 2 * self._count), dtype=np.float32)
            grown[:, :start] = self._rows[:, :start]
            self._rows = grown
        return self._rows[0, start : self._count], self._rows[1, start : self._count]

    def finish(self) -> MillisecondCells:
        """Return the mean squares, steps and leaps of all whole cells."""
        energy, step = self._rows[:, : self._count].copy()
        energy /= np.float32(2 * self._cell)
        return MillisecondCells(energy, np.sqrt(step), np.concatenate(self._leaps), self._cell / self._rate)
