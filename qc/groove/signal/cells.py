"""Cells of 1 ms, counted from the file's first frame: in which of them a wave is greatest, sector by sector.

A share of sectors says nothing of time: one moment in each sector, and all of them are over. So the greatest slope
and curvature are kept for each cell of 1 ms as well. Frame n of the file lies in cell floor(1000 n / rate), and a cell
belongs to the sector that holds its first frame, so that three sectors have 14, 13 and 13 cells, 40 in all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import index, inlined, kernel
from qc.dsp.meters.extremes import summit, summit_at, summit_of
from qc.dsp.meters.search import first_as_great, first_as_great_of, short_magnitude_of
from qc.model.cutting_chain import SECTORS_A_SECOND

CELLS_A_SECOND = 1000
MOST = 14
"""Most cells that begin in one sector."""
THIRDS = 3
"""Sectors after which cells and sectors begin together again: 40 ms."""
SOME = 3000
"""Sectors whose peaks are kept as float32 at once."""
SUMMIT, SUMMIT_ON = 1.08, 1.18
"""Greatest ratio of a summit to the values about it: of 20 kHz at 176.4 kHz, of 14 kHz at 88.2 kHz, and more."""
NONE = -1.0
"""Value of a cell that a sector does not have."""
UNITS = {"lateral_v_cells": 1.0, "vertical_v_cells": 1.0, "a_cells": 4096.0, "sibilance_cells": 4096.0}
"""Unit of the cells of each quantity, m/s or m/s2. Half precision holds any value to 0.05 % from 1/16384 of its unit to
65504 times it; a limit at any level, radius and tip lies above 0.04 m/s, or 400 m/s2."""

Cells = NDArray[np.float16]
"""(MOST, sectors): greatest magnitude in each cell that begins in a sector, in `UNITS`; NONE where there is no cell."""
Waves = NDArray[np.float32]


def edges(rate: int) -> NDArray[np.int64]:
    """Frames of a sector at which cells begin or go on, (THIRDS, MOST + 1), by the sector's number modulo THIRDS.

    The first cell of the second and third kind of sector began in the sector before.
    """
    size = rate // SECTORS_A_SECOND
    found = np.empty((THIRDS, MOST + 1), np.int64)
    for third in range(THIRDS):
        first = third * CELLS_A_SECOND // SECTORS_A_SECOND
        starts = [-(-(first + cell) * rate // CELLS_A_SECOND) - third * size for cell in range(MOST + 1)]
        found[third] = np.clip(starts, 0, size)
    return found


class CellPeaks:
    """The cells of a side: peaks of the sectors in work as float32, those before them in half precision."""

    def __init__(self, rate: int, sectors: int, first: int = 0) -> None:
        """Begin at sector `first` of the file, for so many sectors at a rate of motion."""
        self.edges, self._first, self._sectors = edges(rate), first, sectors
        self._peaks = np.zeros((len(UNITS), min(sectors, SOME) + 1, MOST), np.float32)
        self._kept = {name: np.empty((sectors + 1, MOST), np.float16) for name in UNITS}
        self._at = 0
        self.row = 1
        """row of the next sector; row 0 is of the sector before those in work, whose last cell may go on"""

    def room(self, count: int) -> Waves:
        """Return the peaks, (quantities, rows, MOST), with room for `count` sectors from `row` on."""
        if self.row + count > self._peaks.shape[1]:
            self._store()
            peaks = np.zeros((len(UNITS), max(self._peaks.shape[1], count + 1), MOST), np.float32)
            peaks[:, 0] = self._peaks[:, self.row - 1]
            self._peaks, self._at, self.row = peaks, self._at + self.row - 1, 1
        return self._peaks

    def finish(self, rest: int) -> dict[str, Cells]:
        """Return the cells of each quantity, (MOST, sectors), of whose last sector `rest` frames count."""
        self._store()
        there = np.ones((self._sectors, MOST), np.bool_)
        there[(self._first + np.arange(self._sectors)) % THIRDS != 0, -1] = False
        third = (self._first + self._sectors - 1) % THIRDS
        starts = self.edges[third, :MOST] if third == 0 else self.edges[third, 1:]
        there[-1] &= starts < rest
        return {name: np.where(there, kept[1:], np.float16(NONE)).T for name, kept in self._kept.items()}

    def _store(self) -> None:
        """Store the sectors in work, and the one before them again."""
        for peaks, (name, unit) in zip(self._peaks, UNITS.items(), strict=True):
            self._kept[name][self._at : self._at + self.row] = _half(peaks[: self.row], unit)


def _half(peaks: Waves, unit: float) -> NDArray[np.float16]:
    """Return peaks in SI in half precision, in their unit."""
    return np.minimum(peaks * np.float32(1.0 / unit), np.float32(np.finfo(np.float16).max)).astype(np.float16)


def still(sectors: int) -> Cells:
    """Return the cells of sectors, from the first of three on, in which nothing moves: (MOST, sectors) of 0."""
    cells = np.zeros((MOST, sectors), np.float16)
    cells[-1, np.arange(sectors) % THIRDS != 0] = NONE
    return cells


@kernel
def peak_by_cell(
    on: Waves, half: Waves, n: int, edges: NDArray[np.int64], third: int, cells: Waves, row: int
) -> float:  # fmt: skip
    """Return the greatest magnitude of a sector as `extremes.peak` does, and raise its cells to theirs.

    Index 1 of `on` and `half` is the first of n frames that count. `cells[row]` are the cells that begin in this
    sector, the row above has the one that began before; `third` is the sector's number modulo THIRDS.
    """
    best = 0.0
    for piece in range(MOST):
        start, stop = 1 + edges[third, piece], 1 + min(edges[third, piece + 1], n)
        if start >= stop:
            break
        top = short_magnitude_of(on, half, start, stop)
        best = max(best, top)
        at, of = _place(third, piece, row)
        if top * SUMMIT > cells[at, of]:
            cells[at, of] = max(cells[at, of], np.float32(_summit(on, half, start, stop, top)))
    return summit_of(on, half, n, best)


@kernel
def peak_on_by_cell(
    x: Waves, n: int, edges: NDArray[np.int64], third: int, cells: Waves, row: int
) -> float:  # fmt: skip
    """Return the greatest magnitude of a sector as `extremes.peak_on` does, and raise its cells to theirs.

    Index 2 of `x` is the first of n frames that count.
    """
    best = 0.0
    for piece in range(MOST):
        start, stop = 2 + edges[third, piece], 2 + min(edges[third, piece + 1], n)
        if start >= stop:
            break
        top = short_magnitude_of(x, x, start, stop)
        best = max(best, top)
        at, of = _place(third, piece, row)
        if top * SUMMIT_ON > cells[at, of]:
            cells[at, of] = max(cells[at, of], np.float32(summit_at(x, first_as_great_of(x, x, start, stop, top), top)))
    return summit_at(x, first_as_great(x, index(2), n + 2, best), best)


@inlined
def _place(third: int, piece: int, row: int) -> tuple[int, int]:
    """Return row and column of the cell that a piece of a sector is part of."""
    if third == 0:
        return row, piece
    if piece > 0:
        return row, piece - 1
    return row - 1, MOST - third


@inlined
def _summit(on: Waves, half: Waves, start: int, stop: int, top: float) -> float:
    """Summit about the first value of a short stretch that is as great as any."""
    i = first_as_great_of(on, half, start, stop, top)
    before, before_half, here, here_half = on[i - 1], half[i - 1], on[i], half[i]
    after, after_half = on[i + 1], half[i + 1]
    is_on = abs(here) >= abs(here_half)
    sign = 1.0 if (here if is_on else here_half) >= 0.0 else -1.0
    return summit(
        sign * (before if is_on else before_half), sign * (before_half if is_on else here), top,
        sign * (here_half if is_on else after), sign * (after if is_on else after_half),
    )  # fmt: skip
