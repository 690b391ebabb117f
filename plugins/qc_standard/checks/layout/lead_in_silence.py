"""Silence before the programme."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class LeadInSilenceLimits(Model):
    """Least and greatest length of the silence before the programme."""

    least: Limit
    most: Limit


class LeadInSilence(LimitCheck[LeadInSilenceLimits]):
    """The silence before the programme is unusually short or long."""

    id = "layout.lead-in-silence"
    subject = "programme"
    title = "The silence before the programme is too short or too long"
    why = (
        "The lathe needs clean silence to pass from the lead-in to programme pitch, and the first note must not be "
        "clipped off. A long silence makes the listener wait and costs room."
    )
    how = (
        "From the first frame of the file, or the end of the last line-up tone, to the first 10 ms of programme in "
        "either channel (see programme.noise_floor)."
    )
    remedy = "Have silence added or taken off at the head of the file; check that the first note is whole."
    client = ForClient(
        name="The silence before the music",
        means=(
            "The needle is set down in silence and needs a moment before the first note. With too little of it the "
            "first note may be lost; with too much, one sits and waits."
        ),
        asks=(
            "Please have the silence at the start of the file made a little longer or shorter, or tell us that we may "
            "do it."
        ),
    )
    blind_to = "Silence that is added at the lathe, and noise."
    Limits = LeadInSilenceLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("layout.lead_in_silence", ">=", "the silence before the programme"),
        "most": Judged("layout.lead_in_silence", "<=", "the silence before the programme"),
    }
