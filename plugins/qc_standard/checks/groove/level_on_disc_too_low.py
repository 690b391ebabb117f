"""Loudness of the side on the disc."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class LevelOnDiscTooLowLimits(Model):
    """Least loudness of the side on the disc."""

    least: Limit


class LevelOnDiscTooLow(LimitCheck[LevelOnDiscTooLowLimits]):
    """The side is so quiet on the disc that surface noise becomes audible."""

    id = "groove.level-on-disc-too-low"
    title = "The side ends up too quiet on the disc"
    why = (
        "Every disc has surface noise. A side that is cut very low, because it is long or hard to cut or "
        "because a low level was requested, sinks into it."
    )
    how = (
        "Loudness of the programme against the alignment tone, at the level the side is judged at. A "
        "louder file does not change it: it is then cut that much lower."
    )
    remedy = (
        "Where a level was requested, raise it towards the recommended one. Otherwise shorten the side, or fix what "
        "holds the level down: the report names the limit that rules and where it bites."
    )
    client = ForClient(
        name="The side would come out quiet",
        means=(
            "Every record has a soft noise of its own. A side that has to be cut very quietly, mostly because it is "
            "long or has a few difficult moments, lets that noise be heard under the music."
        ),
        asks=(
            "If it should be louder, a shorter side helps most. If the music is meant to be quiet, nothing has to be "
            "done: just tell us so."
        ),
    )
    blind_to = "The noise of the pressing to come, and music that is meant to be quiet."
    Limits = LevelOnDiscTooLowLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("groove.level_on_disc", ">=", "the loudness on the disc, against the alignment tone,"),
    }
