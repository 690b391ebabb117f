"""Slope of the groove."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import treble


class SlopeTooSteepLimits(Model):
    """Most of the time, by one factor and by two, that the groove may be steeper than the cutter; highest velocity.

    Rulesets before 3.0.0 limit shares of sectors instead, and none of the time.
    """

    lateral_time: Limit | None = None
    lateral_time_twice: Limit | None = None
    vertical_time: Limit | None = None
    vertical_time_twice: Limit | None = None
    lateral_share: Limit | None = None
    vertical_share: Limit | None = None
    peak: Limit
    velocity: Limit
    speed: Limit | None = None


class SlopeTooSteep(LimitCheck[SlopeTooSteepLimits]):
    """The groove is steeper than the back edges of the cutting stylus."""

    id = "groove.slope-too-steep"
    title = "The groove runs too steep for the cutting stylus"
    why = (
        "Where the groove swings faster than it runs, the back edges of the stylus scrape what the "
        "front has just cut: distortion that no playback removes."
    )
    how = (
        "Speed sideways, and up and down, is compared with the speed of the groove and the angle of "
        "the back edges: 1 means that they touch. The time is counted in cells of 1 ms of the file in "
        "the worst 10 s: how much lies above 1, and above 2. Rulesets before 3.0.0 count sectors of 1/75 s above 1."
    )
    remedy = (
        "Cut lower, soften loud upper middle and treble at the place given, or move this track further out on the side."
    )
    client = ForClient(
        name="Loud, bright moments that would come out distorted",
        means=(
            "At these moments the groove would have to swing so quickly that the cutting tool scrapes what it has "
            "just cut. That is heard as distortion, and no record player can take it away again."
        ),
        asks=(
            "Please have loud, bright sounds softened a little at these moments. If you would rather keep them, we "
            "can cut the side more quietly, or the track can move closer to the start of its side."
        ),
    )
    blind_to = "The stylus in hand: its back angle is assumed, and a worn one touches sooner."
    Limits = SlopeTooSteepLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "lateral_time": Judged(
            "groove.lateral_slope_time",
            "<=",
            "the time of the worst 10 s in which it swings sideways steeper than the cutter's back edges",
        ),
        "lateral_time_twice": Judged(
            "groove.lateral_slope_time_twice",
            "<=",
            "the time of the worst 10 s in which it swings sideways more than twice as steep as the cutter allows",
        ),
        "vertical_time": Judged(
            "groove.vertical_slope_time",
            "<=",
            "the time of the worst 10 s in which it rises or falls steeper than the cutter's back edges",
        ),
        "vertical_time_twice": Judged(
            "groove.vertical_slope_time_twice",
            "<=",
            "the time of the worst 10 s in which it rises or falls more than twice as steep as the cutter allows",
        ),
        "lateral_share": Judged(
            "groove.lateral_slope_share",
            "<=",
            "the part of the worst 10 s that swings sideways steeper than the cutter's back edges",
        ),
        "vertical_share": Judged(
            "groove.vertical_slope_share",
            "<=",
            "the part of the worst 10 s that rises or falls steeper than the cutter's back edges",
        ),
        "peak": Judged(
            "groove.lateral_slope_peak", "<=", "the steepest swing sideways, over what the cutter's back edges allow,"
        ),
        "peak.vertical": Judged(
            "groove.vertical_slope_peak", "<=", "the steepest rise or fall, over what the cutter's back edges allow,"
        ),
        "speed": Judged(
            "groove.lateral_speed_ratio_peak", "<=", "the peak lateral velocity, over the speed of the groove,"
        ),
        "velocity": Judged("groove.lateral_velocity_peak", "<=", "the peak lateral velocity"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the dB to cut, the band and the moments, and the diameter outside which the passage needs no change."""
        return treble.add_remedy(finding, look)
