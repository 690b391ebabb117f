"""The requested cut level."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import (
    CheckContext,
    Excerpt,
    Finding,
    ForClient,
    Judged,
    Limit,
    LimitCheck,
    Model,
    NotApplicableError,
)
from qc_standard.advice import too_long


class LevelAboveRecommendedLimits(Model):
    """Most dB of the requested level above the recommended one."""

    over: Limit


class LevelAboveRecommended(LimitCheck[LevelAboveRecommendedLimits]):
    """The requested cut level is more than the side can take."""

    id = "groove.level-above-recommended"
    title = "The requested level is more than the side can take"
    why = (
        "Above its recommended level the side breaks at least one limit that rules the level: it runs "
        "out of room, or it will not trace."
    )
    how = (
        "The requested cut level (cut_level in the delivery, or --level) less the recommended one, the highest level, "
        "in steps of 0.1 dB, at which every limit that sets the level holds. A free side is judged at the release "
        "level of its disc, the lowest recommended level of the disc's free sides, and is not judged by this."
    )
    remedy = "Agree on the recommended level, shorten the side, or fix the place where the ruling limit is reached."
    client = ForClient(
        name="The loudness that was requested",
        means=(
            "For this side a certain loudness was requested. It is more than the side can take: it "
            "would run out of room, or come out rough."
        ),
        asks=(
            "We propose to cut it as loud as it can be without that. If it must be louder, the moment named here is "
            "the one to soften, or the side has to become shorter."
        ),
    )
    blind_to = "A level that was requested by word of mouth and stands in no delivery file."
    Limits = LevelAboveRecommendedLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "over": Judged("groove.level_over_recommended", "<=", "the excess over the recommended level"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge a requested level; raises NotApplicableError where the level is free."""
        if ctx.requested_level is None:
            raise NotApplicableError("no cut level is requested, so none can be above the recommended one")
        return super().evaluate(ctx)

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the level that the side can take, or the seconds to remove."""
        return too_long.come_down(finding, look)
