"""The diameter outside which a passage would pass as it is: curvature falls with V^2, slope with V."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.traces import counts
from qc.groove.level.side_at_level import WorkedSide
from qc.groove.remedies.passage import looked_at, sectors_of
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.quantity import Polarity

POWERS = {
    **{name: 1 if share.slope else 2 for name, share in TIMES.items()},
    "groove.tracing_ratio_share": 2,
    "groove.tracing_ratio_peak": 2,
    "groove.sibilance_share": 2,
    "groove.lateral_slope_share": 1,
    "groove.vertical_slope_share": 1,
    "groove.lateral_slope_peak": 1,
    "groove.lateral_speed_ratio_peak": 1,
    "groove.vertical_slope_peak": 1,
}
"""Power of the radius with which what is looked at falls (C-1, C-3); what is not here does not depend on it."""


@dataclass(frozen=True, slots=True)
class LeastDiameter:
    """The least diameter, m, at which a passage passes, and the file second before which this side lies outside it.

    `before_s` is None where no place on the disc is far enough out.
    """

    diameter: float
    before_s: float | None


def outermost(
    worked: WorkedSide, measure: str, polarity: Polarity, start: int, end: int, bound: float
) -> LeastDiameter | None:  # fmt: skip
    """Find where the sectors from `start` to before `end` would keep to a bound as a ratio; None: radius is no matter.

    Of a share it is the part of all these sectors, or of their cells, that may be above 1.
    """
    if measure not in POWERS:
        return None
    cutting = worked.search.cutting(worked.judged, polarity)
    ratio = looked_at(cutting, measure, start, end).max(axis=0)
    disc = worked.search.side.chain.disc
    radius = np.maximum(cutting.spiral_path.radius, disc.finishing / 2.0)
    share, sectors = counts(measure), sectors_of(cutting, measure, start, end)
    wanted = radius[sectors] * (ratio if share else ratio / bound) ** (1.0 / POWERS[measure])
    spared = allowed(bound, len(ratio)) if share else 0
    least = float(np.sort(wanted)[::-1][min(spared, len(wanted) - 1)])
    inside = np.flatnonzero(cutting.spiral_path.radius < least)
    first = int(inside[0]) if len(inside) else worked.search.side.span.sectors
    before = None if first == 0 else (worked.search.side.span.start + first) / SECTORS_A_SECOND
    return LeastDiameter(2.0 * least, before)


def allowed(share: float, values: int) -> int:
    """Return the number of sectors or cells out of `values` that may be above 1 for their share to keep to a limit."""
    return int(share * values + 1e-9)
