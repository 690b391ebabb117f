"""Silence before the programme."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.contract import Judged, Limit, LimitCheck, Model


class LeadInSilenceLimits(Model):
    """How long the silence before the programme must be, and may be."""

    least: Limit
    most: Limit


class LeadInSilence(LimitCheck[LeadInSilenceLimits]):
    """The silence before the programme is unusually short or long."""

    id = "layout.lead-in-silence"
    title = "The silence before the programme is too short or too long"
    why = (
        "The lathe needs clean silence to pass from the lead-in to programme pitch, and the first note must not be "
        "clipped off. A long silence makes the listener wait and costs room."
    )
    how = "From the first frame of the file to the first 10 ms above -60 dBFS in either channel."
    remedy = "Have silence added or taken off at the head of the file; check that the first note is whole."
    blind_to = "Silence that is added at the lathe, and noise below -60 dBFS."
    Limits = LeadInSilenceLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("layout.lead_in_silence", ">=", "the silence before the programme"),
        "most": Judged("layout.lead_in_silence", "<=", "the silence before the programme"),
    }
