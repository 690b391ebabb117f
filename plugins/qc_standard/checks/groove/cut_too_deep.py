"""How deep the groove becomes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.contract import Excerpt, Finding, Judged, Limit, LimitCheck, Model
from qc_standard.advice import wide_bass


class CutTooDeepLimits(Model):
    """How deep the groove may become."""

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
    blind_to = "The thickness of the lacquer in hand: a thin one wants a smaller limit."
    Limits = CutTooDeepLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "greatest": Judged("groove.depth_max", "<=", "the greatest depth"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Say which bass mono makes the passage fit, and what it costs."""
        return wide_bass.mend(finding, look)
