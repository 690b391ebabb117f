"""Land between neighbouring turns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class TooLittleLandLimits(Model):
    """Least land between two turns."""

    least: Limit


class TooLittleLand(LimitCheck[TooLittleLandLimits]):
    """Two turns come too close, or touch."""

    id = "groove.too-little-land"
    title = "Too little land is left between the turns"
    why = (
        "Thin land lets one turn print into the next as pre-echo. No land at all means that the "
        "grooves touch, and the stylus may jump."
    )
    how = (
        "Land is the pitch given less what the two neighbouring grooves take, at both ends of each "
        "1/75 s. It falls short where the pitch meets its maximum."
    )
    remedy = (
        "Cut lower, or reduce the loud low passage at the place given. Where the lathe can open up "
        "further, the house may raise the greatest pitch in its ruleset."
    )
    client = ForClient(
        name="Turns of the groove that come too close",
        means=(
            "Loud low notes make the groove swing far to the sides. At these moments it comes so close to its "
            "neighbour that one turn may faintly be heard in the other, or that the needle may jump across."
        ),
        asks=(
            "Please have the low notes made a little quieter at these moments. If you would rather keep them, we can "
            "cut the side more quietly."
        ),
        warns=False,
    )
    blind_to = "Pre-echo itself, which depends on the lacquer and the stylus as well as on the land."
    Limits = TooLittleLandLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("groove.land_min", ">=", "the least land"),
    }
