"""Least top width of the groove."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import wide_bass


class TopWidthTooNarrowLimits(Model):
    """Least permitted top width."""

    least: Limit


class TopWidthTooNarrow(LimitCheck[TopWidthTooNarrowLimits]):
    """The groove is so narrow somewhere that a stylus may leave it."""

    id = "groove.top-width-too-narrow"
    title = "The groove becomes too narrow"
    why = (
        "Where the cutter rises, the groove gets narrow and shallow. A stylus that finds no walls to "
        "sit in skips or mistracks."
    )
    how = (
        "The top width is twice the depth left when the cutter is at its highest, with depth as the "
        "ruleset lets it vary."
    )
    remedy = (
        "Reduce the difference between left and right in the bass, cut lower, or cut deeper where the disc has room."
    )
    client = ForClient(
        name="Low notes that could make the needle jump",
        means=(
            "Low notes that are not the same in the left and the right loudspeaker make the groove shallow and "
            "narrow. At these moments there is so little left of it that the needle of a record player could lose its "
            "way."
        ),
        asks=(
            "Please have the low notes at these moments put in the middle, the same in both loudspeakers; it is "
            "seldom heard. If you would rather keep them as they are, we can cut the side more quietly."
        ),
    )
    blind_to = (
        "The lathe whose depth moves more slowly than is assumed here, and the surface of the "
        "lacquer, which is never quite flat."
    )
    Limits = TopWidthTooNarrowLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("groove.top_width_min", ">=", "the least top width"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the bass-mono corner that makes the passage fit, and its loss in dB."""
        return wide_bass.add_remedy(finding, look)
