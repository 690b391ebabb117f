"""Depth of the groove."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import wide_bass


class CutTooDeepLimits(Model):
    """Greatest depth of the groove."""

    greatest: Limit


class CutTooDeep(LimitCheck[CutTooDeepLimits]):
    """The groove is deeper somewhere than a lacquer takes."""

    id = "groove.cut-too-deep"
    title = "The groove is cut too deep"
    why = (
        "A deep groove takes room from its neighbours. Too deep, the stylus nears the metal core of "
        "the lacquer and the master may be lost."
    )
    how = "The greatest depth is the depth of the groove without modulation plus the lowest point the cutter moves to."
    remedy = "Reduce the difference between left and right in the bass, or cut lower."
    client = ForClient(
        name="Low notes that cut too deep",
        means=(
            "Low notes that are not the same in the left and the right loudspeaker make the cutting tool move up and "
            "down. At these moments it would go so deep that the disc we cut could be spoiled."
        ),
        asks=(
            "Please have the low notes at these moments put in the middle, the same in both loudspeakers; it is "
            "seldom heard. If you would rather keep them as they are, we can cut the side more quietly."
        ),
    )
    blind_to = "The thickness of the lacquer in hand: a thin one wants a smaller limit."
    Limits = CutTooDeepLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "greatest": Judged("groove.depth_max", "<=", "the greatest depth"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the bass-mono corner that makes the passage fit, and its loss in dB."""
        return wide_bass.add_remedy(finding, look)
