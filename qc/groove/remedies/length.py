"""A side that runs in too far: what brings its end out again, each way by itself and in its own number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc.groove.geometry.cut import DIAMETER, Cutting
from qc.groove.level.highest import HighestSearch
from qc.groove.level.rows import LevelRow
from qc.groove.level.sensitivity import Depth, assumed
from qc.groove.level.side_at_level import WorkedSide
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.quantity import limit_with_tolerance


@dataclass(frozen=True, slots=True)
class OtherDepth:
    """The same side at the same level with its depth fixed, or variable: last diameter and least top width in m."""

    depth: Depth
    ends: float
    width: float


@dataclass(frozen=True, slots=True)
class Length:
    """Changes that would let a side end at a diameter, m, each alone: the level in dB, seconds less, another depth.

    `level` is None where no level of the search does, `less_s` where not even its beginning lies outside.
    """

    wanted: float
    ends: float
    level: float | None
    less_s: float | None
    other: OtherDepth


def shorten(worked: WorkedSide, diameter: float) -> Length:
    """Work out what would let a side end at a diameter in m, at the level it is judged at."""
    side, level = worked.search.side, worked.judged
    radii = np.minimum.reduce([worked.search.cutting(level, p).spiral_path.radius for p in side.polarities])
    inside = np.flatnonzero(2e3 * radii < limit_with_tolerance(1e3 * diameter, ">=", "mm"))
    first = int(inside[0]) if len(inside) else len(radii)
    row = LevelRow("", "", DIAMETER, ">=", None, 1e3 * diameter, "mm", "fail")
    reached = HighestSearch(side, (row,)).highest(round(10.0 * level)).reached
    return Length(
        wanted=diameter,
        ends=2.0 * float(radii[-1]),
        level=None if reached.bound == "<" else reached.level,
        less_s=None if first == 0 else (len(radii) - first) / SECTORS_A_SECOND,
        other=_other_depth(worked),
    )


def _other_depth(worked: WorkedSide) -> OtherDepth:
    """Compute the side with its depth fixed where it varies, and varying where it is fixed."""
    side = worked.search.side
    depth: Depth = "variable" if side.chain.cut.depth == "fixed" else "fixed"
    under = side.under(assumed(side.chain, "cut.depth", depth))
    cuttings = [Cutting(under, worked.judged, polarity) for polarity in side.polarities]
    ends = 2.0 * min(float(cutting.spiral_path.radius[-1]) for cutting in cuttings)
    return OtherDepth(depth, ends, min(cutting.width().value for cutting in cuttings))
