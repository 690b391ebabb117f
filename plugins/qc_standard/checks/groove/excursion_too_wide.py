"""Width of the groove's swing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class ExcursionTooWideLimits(Model):
    """Most that the groove may swing to one side, at any moment and for long."""

    peak: Limit
    sustained: Limit


class ExcursionTooWide(LimitCheck[ExcursionTooWideLimits]):
    """The groove swings further to the side than common pickups track."""

    id = "groove.excursion-too-wide"
    title = "The groove swings too far to the side"
    why = (
        "Trackability: the needle must follow every swing against the stiffness of its suspension. A swing that is too "
        "wide pushes it up a wall, and it mistracks, buzzes or jumps out, the more so where many follow one another."
    )
    how = (
        "The greatest swing to either side of the groove's middle, at the level the side is judged at; and the swing "
        "that a twentieth of the sectors of 1/75 s reach in the worst 10 s, half a second in all."
    )
    remedy = (
        "Cut lower, or take the deep bass down at the place given: below 100 Hz or so it swings widest. A high-pass at "
        "20 to 40 Hz costs little."
    )
    client = ForClient(
        name="Deep notes that make the needle swing too far",
        means=(
            "Loud, deep notes make the groove swing from side to side. At these moments it swings so far that the "
            "needle of a common record player may buzz or jump."
        ),
        asks=(
            "Please have the deepest notes made a little quieter at these moments. If you would rather keep them, we "
            "can cut the side more quietly."
        ),
    )
    blind_to = "The pickup in use: a good one follows wider swings than the limit allows, a heavy or stiff one fewer."
    Limits = ExcursionTooWideLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "peak": Judged("groove.lateral_displacement_peak", "<=", "the widest swing to the side"),
        "sustained": Judged("groove.lateral_displacement_10s", "<=", "the swing that half a second of 10 s reaches"),
    }
