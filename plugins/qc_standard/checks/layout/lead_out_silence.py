"""Silence after the programme."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class LeadOutSilenceLimits(Model):
    """Least length of the silence after the programme."""

    least: Limit


class LeadOutSilence(LimitCheck[LeadOutSilenceLimits]):
    """The silence after the programme is unusually short."""

    id = "layout.lead-out-silence"
    subject = "programme"
    title = "The silence after the programme is too short"
    why = "The last reverberation must be over before the lead-out begins, or it is cut off or runs into the label."
    how = "From the last 10 ms of programme in either channel (see programme.noise_floor) to the last frame."
    remedy = "Have silence added at the tail of the file; check that the last note dies away whole."
    client = ForClient(
        name="The silence after the music",
        means="The last note has to die away before the groove leads to the middle; otherwise its end is cut off.",
        asks=(
            "Please make sure that the last note dies away whole, and have a little silence added at the end of the "
            "file, or tell us that we may do it."
        ),
    )
    blind_to = "Silence that is added at the lathe, and a fade that was cut off in the noise."
    Limits = LeadOutSilenceLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("layout.lead_out_silence", ">=", "the silence after the programme"),
    }
