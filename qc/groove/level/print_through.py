"""Neighbours that may print through: a loud turn next to a quiet one with little land left between them.

Cutting pushes the lacquer sideways, and across a thin land the modulation of one wall shows in the next, one turn
before or after (V-6). Its strength cannot be computed from the programme; the places are information and judge nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc.groove.geometry.cut import Cutting
from qc.groove.geometry.side import greatest_near
from qc.groove.level.events import TOGETHER, stretches

LITTLE = 2.0
"""Land below so many times the least is little: 26 um of the usual 13, the range of V-7 (practice)."""
LOUDER = 10.0
"""Times that one turn moves as far as the other, 20 dB (practice)."""
HUSH = 18
"""Sectors on either side through which the quiet turn must be quiet, a quarter of a second (practice)."""
STILL = 1e-9
"""m of excursion below which a turn counts as silent."""


@dataclass(frozen=True, slots=True)
class Neighbours:
    """A loud stretch and its quiet neighbour a turn away, in sectors of the span: where the two differ most.

    `ratio` is that of their excursions, `land` the least between them over the stretch, in m.
    """

    loud: int
    quiet: int
    sectors: int
    ratio: float
    land: float
    silent: bool
    """whether the quiet turn does not move at all, so that the ratio is only a least one"""


def neighbours(cutting: Cutting) -> list[Neighbours]:
    """Find the neighbours that may print through, the most unlike first."""
    side = cutting.side
    turn, least = side.chain.disc.sectors_a_turn, side.chain.cut.land
    e = side.envelopes
    swing = np.sqrt(2.0) * cutting.scale * np.maximum(e.d_max, -e.d_min).max(axis=0)
    if len(swing) <= turn:
        return []
    hushed = np.maximum(greatest_near(swing, HUSH), STILL)
    left = cutting.spiral.land[turn:]
    little = left < LITTLE * least
    found = []
    for loud, quiet, ahead in ((swing[turn:], hushed[:-turn], turn), (swing[:-turn], hushed[turn:], 0)):
        ratio = loud / quiet
        there = little & (ratio >= LOUDER) & (loud >= least)  # its edge swings as far as the land is wide at the least
        for start, end in stretches(there, TOGETHER):
            worst = start + int(np.where(there[start:end], ratio[start:end], 0.0).argmax())
            land = float(left[start:end].min())
            at = worst + ahead, worst + turn - ahead
            found.append(Neighbours(*at, end - start, float(ratio[worst]), land, bool(quiet[worst] <= STILL)))
    return sorted(found, key=lambda pair: -pair.ratio)
