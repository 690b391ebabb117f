"""Shares of time: how much of the worst seconds lies beyond a ratio, counted in cells of 1 ms (see groove-model 4)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cell_shares import count_beyond, most_by_start, ratios, worst_window
from qc.groove.geometry.cut_arrays import CutArrays
from qc.groove.geometry.side import CellRows
from qc.groove.geometry.worst import CHANNELS, Worst
from qc.groove.signal.cells import CELLS_A_SECOND, UNITS
from qc.model.cutting_chain import SECTORS_A_SECOND

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TimeShare:
    """A share of time: the cells it counts, by name, beyond how many `times` the ratio, in the worst `seconds`.

    The ratio is that of `envelope`, the same quantity by sector, over what the back edges of the cutter allow
    (`slope`), or of the tip's radius to the groove's.
    """

    cells: str
    envelope: str
    slope: bool
    seconds: int
    times: float = 1.0

    def factor(self, cutting: CutArrays) -> float:
        """Return the factor from a cell to what `allowed` divides."""
        tip = 1.0 if self.slope else cutting.side.chain.playback.tip_radius
        return tip * cutting.scale * UNITS[self.cells]

    def ratio(self, cutting: CutArrays) -> Array:
        """Return the ratio of the greatest cell of each sector, (sectors,)."""
        disc, playback = cutting.side.chain.disc, cutting.side.chain.playback
        tops = cutting.side.cells(self.cells).tops
        found = np.empty(len(tops))
        turning, edges = 2.0 * math.pi * disc.rpm / 60.0, math.tan(playback.back_angle) if self.slope else 0.0
        radius, least = cutting.spiral_path.radius, disc.finishing / 2.0
        ratios(tops, self.factor(cutting), radius, least, turning, edges, found)
        return found

    def worst(self, cutting: CutArrays) -> Worst:
        """Return the share in the worst window, and the worst sector in it."""
        cells, ratio = cutting.side.cells(self.cells), self.ratio(cutting)
        n, window = len(ratio), self.window(cells)
        sectors = min(self.seconds * SECTORS_A_SECOND, n)
        most, first = worst_window(cells.bits, cells.tops, ratio, self.times, cells.first, window)
        if not most:
            sector = int(ratio.argmax())
            start = max(0, min(sector - sectors // 2, n - sectors))
            return Worst(0.0, sector, start, start + sectors, self.channel(cutting, sector))
        start = int(cells.first.searchsorted(np.int32(first), "right")) - 1
        end = min(start + sectors, n)
        sector = start + int(ratio[start:end].argmax())
        return Worst(most / window, sector, start, end, self.channel(cutting, sector))

    def along(self, cutting: CutArrays, without: NDArray[np.bool_] | None) -> tuple[Array, Array, Array]:
        """Return the greatest share of any window that begins in a sector, (starts,); and of each sector two values.

        The ratio of its greatest cell to `times`, by wall, and the cells that are beyond. Sectors `without` count for
        nothing.
        """
        side, ratio = cutting.side, self.ratio(cutting)
        if without is not None:
            ratio = np.where(without, 0.0, ratio)
        n, cells = len(ratio), side.cells(self.cells)
        least, before = np.empty(n, np.int16), np.empty(n + 1, np.int32)
        count_beyond(cells.bits, cells.tops, ratio, self.times, least, before)
        found = np.empty(n + 1 - min(self.seconds * SECTORS_A_SECOND, n))
        window = self.window(cells)
        most_by_start(cells.bits, least, cells.first, before, window, found)
        return found / window, ratio / self.times * self._walls(cutting), np.diff(before)

    def window(self, cells: CellRows) -> int:
        """Return the cells of a window."""
        return min(self.seconds * CELLS_A_SECOND, int(cells.first[-1]))

    def by_cell(self, cutting: CutArrays, start: int, end: int) -> Array:
        """Return the ratio of every cell to `times`, (cells,), of the sectors from `start` to before `end`."""
        speed = cutting.speed[start:end]
        edges = speed * math.tan(cutting.side.chain.playback.back_angle) if self.slope else speed**2
        values = cutting.side.cells(self.cells).bits[start:end].view(np.float16).astype(np.float64)
        found: Array = (self.factor(cutting) / self.times * values / edges[:, None])[values >= 0.0]
        return found

    def _walls(self, cutting: CutArrays) -> Array:
        """Return the part of the greater wall's value that each wall has, (walls, sectors); 1 for the groove's."""
        rows = np.atleast_2d(getattr(cutting.side.envelopes, self.envelope))
        greater = rows.max(axis=0)
        part: Array = np.where(greater > 0.0, rows / np.where(greater > 0.0, greater, 1.0), 1.0)
        return part

    def channel(self, cutting: CutArrays, sector: int) -> str | None:
        """Return the wall that is greater in a sector; None for what is the groove's."""
        rows = np.atleast_2d(getattr(cutting.side.envelopes, self.envelope))
        return CHANNELS[int(rows[:, sector].argmax())] if len(rows) == 2 else None


_ONCE = {
    "groove.lateral_slope_time": TimeShare("lateral_v_cells", "lateral_v", True, 10),
    "groove.vertical_slope_time": TimeShare("vertical_v_cells", "vertical_v", True, 10),
    "groove.tracing_ratio_time": TimeShare("a_cells", "a_abs", False, 10),
    "groove.sibilance_time": TimeShare("sibilance_cells", "sibilance_a", False, 1),
}

TIMES: dict[str, TimeShare] = {
    name: share
    for once, of in _ONCE.items()
    for name, share in (
        (once, of),
        (f"{once}_twice", TimeShare(of.cells, of.envelope, of.slope, of.seconds, 2.0)),
    )
}
"""Every share of time by its measurement."""
