"""A side whose worst passages were reduced: they demand less pitch, and one limit leaves them out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from qc.groove.geometry.cut import FOLLOWING, Cutting
from qc.groove.geometry.side import SideGeometry, Walls, greatest_near
from qc.groove.geometry.spiral import lookahead
from qc.groove.geometry.traces import Mask, Trace, trace
from qc.groove.level.events import Stretch
from qc.groove.level.memo import Recent
from qc.groove.level.rows import LevelRow
from qc.model.quantity import Polarity, meets

EASE = 10.0 ** (-6.0 / 20.0)
"""By how much a reduced passage moves less in the pitch that it demands: 6 dB (practice)."""
RECENT = 1
"""Levels whose arrays are kept at once."""


class ReducedCutting(Cutting):
    """A side as cut with some sectors reduced; only the spiral and what depends on its radius are others."""

    def __init__(self, side: SideGeometry, level: float, polarity: Polarity, eased: Walls) -> None:
        super().__init__(side, level, polarity)
        self._eased = eased

    @property
    def spread(self) -> Walls:
        """The displacements that demand the pitch: less in the reduced sectors."""
        return self._eased


def ease(side: SideGeometry, walls: Walls, reduced: Mask) -> Walls:
    """Return the displacements of a side with those of some sectors reduced by EASE."""
    less = np.where(reduced, EASE, 1.0)
    near = greatest_near(less * walls.up, lookahead(side.chain.cut, side.chain.disc))
    return replace(walls, right=less * walls.right, left=less * walls.left, up_near=near)


class ReducedSide:
    """One side with passages reduced, at any level; `forgets` is the measurement that leaves them out."""

    def __init__(self, side: SideGeometry, passages: Sequence[Stretch], forgets: str) -> None:
        self.side, self.passages, self.forgets = side, tuple(passages), forgets
        self.mask = np.zeros(side.span.sectors, dtype=np.bool_)
        for start, end in self.passages:
            self.mask[start:end] = True
        self._eased: dict[Polarity, Walls] = {}
        self._recent: Recent[tuple[float, Polarity], ReducedCutting] = Recent(RECENT * len(side.polarities))

    def cutting(self, level: float, polarity: Polarity) -> ReducedCutting:
        """Return the side as cut at a level in dB and a polarity; arrays are kept for the last level only."""
        if polarity not in self._eased:
            self._eased[polarity] = ease(self.side, self.side.walls[polarity], self.mask)
        eased = self._eased[polarity]
        return self._recent.get((level, polarity), lambda: ReducedCutting(self.side, level, polarity, eased))

    def forget(self) -> None:
        """Release all arrays; they are computed again when they are asked for."""
        self._recent.clear()
        self._eased.clear()

    def trace(self, level: float, polarity: Polarity) -> Trace | None:
        """Follow the limit's measurement along what it still looks at."""
        return trace(self.cutting(level, polarity), self.forgets, self.mask)

    def keeps(self, row: LevelRow, bound: float, level: float) -> bool:
        """Whether a limit holds at a level, in every polarity."""
        return all(
            meets(self._value(row.measure, level, polarity) * FOLLOWING[row.measure].factor, bound, row.op, row.unit)
            for polarity in self.side.polarities
        )

    def _value(self, measure: str, level: float, polarity: Polarity) -> float:
        seen = self.trace(level, polarity) if measure == self.forgets else None
        if seen is not None:
            return seen.worst().value
        return self.cutting(level, polarity).measure(measure).value
