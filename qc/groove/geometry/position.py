"""Positions on a side: seconds of the file, radii, and turns with their angles, each found from any other.

The radius is that of the middle of the groove, where the carriage is; it falls evenly through a sector. Turns are
counted from 1, and angle 0 is where the first of them begins, at the start of the span.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut_arrays import CutArrays
from qc.model.cutting_chain import SECTORS_A_SECOND

Array = NDArray[np.float64]

FULL_TURN = 360.0
"""deg"""
NEXT_TURN = 1e-9
"""Turns by which a position may lie before the beginning of a turn and still count as in it: a rounding error."""


@dataclass(frozen=True, eq=False)
class SpiralPositions:
    """The path of a spiral: `radius` (sectors + 1,) in m where each sector begins, and where the last one ends."""

    start_s: float
    """file second at which the spiral begins"""
    turn_s: float
    """duration of a turn, s"""
    radius: Array

    @classmethod
    def as_cut(cls, cutting: CutArrays) -> Self:
        """Return the positions of a side as cut."""
        return cls._of(cutting, cutting.spiral_path.radius)

    @classmethod
    def least(cls, cutting: CutArrays) -> Self:
        """Return the positions of the least possible spiral, in which all turns lie as close as they can."""
        return cls._of(cutting, cutting.radius_least)

    @classmethod
    def _of(cls, cutting: CutArrays, radius: Array) -> Self:
        disc, start = cutting.side.chain.disc, cutting.side.span.start
        return cls(
            start / SECTORS_A_SECOND, disc.sectors_a_turn / SECTORS_A_SECOND,
            np.concatenate([[disc.outer / 2.0], radius]),
        )  # fmt: skip

    @property
    def end_s(self) -> float:
        """File second at which the spiral ends: the end of its last sector."""
        return self.start_s + (len(self.radius) - 1) / SECTORS_A_SECOND

    @property
    def last_radius(self) -> float:
        """Radius at the end, m."""
        return float(self.radius[-1])

    @property
    def last_turn(self) -> tuple[int, float]:
        """Number of the last turn, and the angle at which it ends, deg."""
        turn, angle = self.turn_at(self.end_s)
        return (turn, angle) if angle > 0.0 else (turn - 1, FULL_TURN)

    def radius_at(self, second: float) -> float:
        """Return the radius at a file second, m; the one at the nearer end where the second lies outside."""
        return float(np.interp((second - self.start_s) * SECTORS_A_SECOND, np.arange(len(self.radius)), self.radius))

    def second_at(self, radius: float) -> float | None:
        """Return the file second at which the spiral reaches a radius in m first; None where it never does."""
        after = int(np.argmax(self.radius <= radius))
        if self.radius[after] > radius:
            return None
        if after == 0:
            return self.start_s if radius == self.radius[0] else None
        before, there = float(self.radius[after - 1]), float(self.radius[after])
        return self.start_s + (after - 1 + (before - radius) / (before - there)) / SECTORS_A_SECOND

    def second_of(self, turn: int, angle: float) -> float:
        """Return the file second of a turn, counted from 1, at an angle in deg."""
        return self.start_s + (turn - 1 + angle / FULL_TURN) * self.turn_s

    def turn_at(self, second: float) -> tuple[int, float]:
        """Return the turn at a file second, counted from 1, and the angle in deg, from 0 to below 360."""
        turns = (second - self.start_s) / self.turn_s
        whole = math.floor(turns + NEXT_TURN)
        return whole + 1, FULL_TURN * max(0.0, turns - whole)
