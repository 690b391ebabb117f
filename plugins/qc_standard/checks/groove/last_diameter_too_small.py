"""Last diameter of the music."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import too_long


class LastDiameterTooSmallLimits(Model):
    """Least last diameter of the music."""

    least: Limit


class LastDiameterTooSmall(LimitCheck[LastDiameterTooSmallLimits]):
    """The side runs in past the diameter that the ruleset allows."""

    id = "groove.last-diameter-too-small"
    title = "The side ends too close to the label"
    why = (
        "Groove speed falls with the radius. The same music gets shorter waves, treble is traced "
        "worse, and the lead-out must still fit."
    )
    how = (
        "The spiral is worked out turn by turn at the judged level, with every groove as wide and as "
        "far from its neighbour as the programme asks. The diameter is the one at the end of the "
        "side: of its last track, or of programme heard after it."
    )
    remedy = "Cut lower, shorten the side, or move the last track to the other side. Less wide bass saves room too."
    client = ForClient(
        name="The side does not fit at this loudness",
        means=(
            "A groove takes room, and loud music and low notes take more of it. As it is, the side comes so close to "
            "the label that its ending would sound dull and rough."
        ),
        asks=(
            "There are three ways out: we cut the side more quietly, you shorten it, or a track moves to another "
            "side. Please tell us which you like best; we are glad to help you choose."
        ),
    )
    blind_to = "The inertia of a real carriage, and a cutting engineer who closes up quiet passages by hand."
    Limits = LastDiameterTooSmallLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("groove.last_diameter", ">=", "the last diameter"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the level, or the seconds to remove, that would end the side further out."""
        return too_long.end_further_out(finding, look)
