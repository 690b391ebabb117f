"""Curvature of the groove."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import treble


class CurvatureTooTightLimits(Model):
    """Most of the time, and most by factor, by which the groove may bend more tightly than the tip.

    Rulesets before 3.0.0 limit a share of sectors instead, and none of the time.
    """

    time: Limit | None = None
    time_twice: Limit | None = None
    share: Limit | None = None
    peak: Limit


class CurvatureTooTight(LimitCheck[CurvatureTooTightLimits]):
    """The groove bends more tightly than the replay tip can follow."""

    id = "groove.curvature-too-tight"
    title = "The groove bends too tightly for the replay tip"
    why = (
        "Where a bend is tighter than the tip is round, the tip bridges it. It stays in the groove, "
        "and the treble comes back dull and distorted."
    )
    how = (
        "The radius of the tip is compared with the radius of the bend, on the worse wall: 1 means as "
        "tight as the tip. The time is counted in cells of 1 ms of the file in the worst 10 s: how much of it lies "
        "above 1, and how much above 2. Rulesets before 3.0.0 count the sectors of 1/75 s above 1 instead, of which "
        "one moment is enough."
    )
    remedy = "Soften the treble at the place given, cut lower, or move this track further out on the side."
    client = ForClient(
        name="Treble that a needle cannot follow",
        means=(
            "At these moments the treble, the brightest part of the sound, is so strong that the groove bends more "
            "sharply than the needle of a record player can follow. The record would sound dull and rough there, "
            "although your file sounds clean."
        ),
        asks=(
            "Please have the treble softened a little at these moments. If you would rather keep it, we can cut the "
            "side more quietly, or the track can move closer to the start of its side, where there is more room for "
            "treble."
        ),
    )
    blind_to = "How finer or blunter tips fare: the measurements beside this one say it for 5 um and 18 um."
    Limits = CurvatureTooTightLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "time": Judged(
            "groove.tracing_ratio_time",
            "<=",
            "the time of the worst 10 s with curves tighter than the tip can follow",
        ),
        "time_twice": Judged(
            "groove.tracing_ratio_time_twice",
            "<=",
            "the time of the worst 10 s with curves more than twice as tight as the tip can follow",
        ),
        "share": Judged(
            "groove.tracing_ratio_share", "<=", "the part of the worst 10 s with curves tighter than the tip can follow"
        ),
        "peak": Judged("groove.tracing_ratio_peak", "<=", "the tightest curve, as tip radius over groove radius,"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the dB to cut, the band and the moments, and the diameter outside which the passage needs no change."""
        return treble.add_remedy(finding, look)
