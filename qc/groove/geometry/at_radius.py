"""A side with every sector at one radius, for comparing a measurement with playback there."""

from __future__ import annotations

import numpy as np

from qc.groove.geometry.cut import MEASURES, Cutting
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.spiral import SpiralPath
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.traces import SHARES
from qc.model.quantity import Polarity

SPEED_DEPENDENT = (*SHARES, *TIMES, "groove.lateral_slope_peak", "groove.vertical_slope_peak",
                   "groove.tracing_ratio_peak")  # fmt: skip
"""Measurements that the groove's speed, and so the radius, has a part in."""


def cut_at_radius(side: SideGeometry, level: float, radius: float, polarity: Polarity = "normal") -> Cutting:
    """Return a side as cut at a level in dB, every sector at a radius in m; its own spiral is not computed.

    A radius inside the finishing groove counts as that of the finishing groove.
    """
    cutting = Cutting(side, level, polarity)
    cutting.spiral_path = SpiralPath(np.full(side.span.sectors, radius), 0.0, 0.0, 0, 0)
    return cutting


def at_radius(side: SideGeometry, level: float, radius: float) -> dict[str, float]:
    """Return every measurement that depends on the groove's speed, at a level in dB and a radius in m, by name."""
    cutting = cut_at_radius(side, level, radius)
    return {name: MEASURES[name].of(cutting).value for name in SPEED_DEPENDENT}
