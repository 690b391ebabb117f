"""The length of the programme compared with the least expected length."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class SideTooShortLimits(Model):
    """Least length of the programme."""

    least: Limit


class SideTooShort(LimitCheck[SideTooShortLimits]):
    """The programme is so short that it may not be all of the side."""

    id = "layout.side-too-short"
    subject = "programme"
    title = "The side is very short"
    why = (
        "A side of a few seconds is more often an excerpt, a test export or the rest of a file that was cut off than "
        "what is to be released, and a plausible header does not show it."
    )
    how = "From the first to the last programme of the side, pauses between them counted, silence around them not."
    remedy = "Ask whether the whole side was sent."
    client = ForClient(
        name="A very short side",
        means="There is much less music in this file than usually goes on the side of a record.",
        asks="Please check that you sent the whole side. If it is meant to be this short, tell us, and we cut it so.",
    )
    blind_to = "A longer side of which a part is missing, where no track times are declared."
    Limits = SideTooShortLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("programme.duration", ">=", "the length of the programme"),
    }
