"""The lowest corner of bass mono that makes a vertical excursion fit, worked out from the passage itself.

A first-order high-pass on the difference signal (C-13). It commutes with all that turns programme into motion, so the
motion is filtered, and no other stretch is processed for another corner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qc.dsp.filters import biquad
from qc.groove.geometry.cut import MEASURES
from qc.groove.remedies.passage import PassageMotion
from qc.model.quantity import meets
from qc.plugin_base import Samples

CORNERS = (60.0, 80.0, 100.0, 120.0, 150.0, 200.0, 250.0, 300.0)
"""Hz that are tried: those an elliptical filter has (practice, C-13)."""
MOSTLY = 0.5
"""Part of the vertical excursion that must lie above 300 Hz for it to be said (practice)."""


@dataclass(frozen=True, slots=True)
class Mono:
    """The worst of a passage under bass mono, in the unit of the measurement; `corner` None: none is enough.

    `left` is the value that the corner leaves, or that the highest one would.
    """

    corner: float | None
    left: float
    above: float
    """part of the greatest vertical excursion that is not there below 300 Hz, 0..1"""

    @property
    def lies_higher(self) -> bool:
        """Whether most of the excursion lies above 300 Hz, where no bass mono reaches."""
        return self.above > MOSTLY


def cost(corner: float, frequency: float) -> float:
    """Return the gain in dB of a first-order high-pass: -3.01 at its corner, -0.97 at twice that (C-13)."""
    return -10.0 * math.log10(1.0 + (corner / frequency) ** 2)


def lowest_corner(passage: PassageMotion, measure: str, bound: float) -> Mono:
    """Find the lowest corner above the chain's own at which a measurement keeps to a bound in its unit."""
    how = MEASURES[measure]
    own = passage.worked.search.side.chain.signal.bass_mono
    corners = [corner for corner in CORNERS if corner > own]
    above, left = _above(passage), worst(passage, measure, corners[-1] if corners else 0.0)
    if not corners or not meets(left, bound, how.op, how.unit):  # where the highest is not enough, no other is
        return Mono(None, left, above)
    for corner in corners[:-1]:
        there = worst(passage, measure, corner)
        if meets(there, bound, how.op, how.unit):
            return Mono(corner, there, above)
    return Mono(corners[-1], left, above)


def worst(passage: PassageMotion, measure: str, corner: float) -> float:
    """Return the worst of a measurement in the passage, in its unit, with bass mono at a corner in Hz; none at 0."""
    how, found = MEASURES[measure], []
    motion = narrowed(passage.motion, corner, passage.rate) if corner else passage.motion
    envelopes = passage.envelopes(motion)
    for polarity in passage.worked.search.side.polarities:
        rows = passage.measured(measure, polarity, envelopes)
        found.append(how.factor * float(rows.max() if how.op == "<=" else rows.min()))
    return max(found) if how.op == "<=" else min(found)


def narrowed(motion: Samples, corner: float, rate: int) -> Samples:
    """Take the bass out of the difference of motion (4, frames), by a first-order high-pass at a corner in Hz."""
    sections = biquad.paired(biquad.first_high(corner, rate))
    both = 0.5 * (motion[::2] + motion[1::2])
    apart = np.ascontiguousarray(0.5 * (motion[::2] - motion[1::2]))  # of the walls, and of both below 300 Hz
    apart = biquad.run(apart, sections, biquad.fresh(sections, 2), np.empty_like(apart))
    given = np.empty_like(motion)
    given[::2], given[1::2] = both + apart, both - apart
    return given


def _above(passage: PassageMotion) -> float:
    """Return the part of the greatest vertical excursion that is not there below 300 Hz."""
    e = passage.envelopes()
    whole = float(max(e.vertical_max.max(), -e.vertical_min.min()))
    return max(0.0, 1.0 - float(e.low_vertical.max()) / whole) if whole > 0.0 else 0.0
