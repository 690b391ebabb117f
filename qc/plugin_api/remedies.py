"""Trials of remedies on a passage of the groove: bass made mono, treble cut, a side shortened or moved outwards."""

from qc.groove.remedies.bass_mono import CORNERS, Mono, cost, lowest_corner
from qc.groove.remedies.length import Length, shorten
from qc.groove.remedies.outermost import POWERS, LeastDiameter, outermost
from qc.groove.remedies.passage import PassageMotion, looked_at
from qc.groove.remedies.treble_cut import LOOKED, MOST_DB, TrebleCut, densest, needed, to_limit, treble_cut

__all__ = [
    "CORNERS", "LOOKED", "MOST_DB", "POWERS", "LeastDiameter", "Length", "Mono", "PassageMotion", "TrebleCut", "cost",
    "densest", "looked_at", "lowest_corner", "needed", "outermost", "shorten", "to_limit", "treble_cut",
]  # fmt: skip
