"""Direct current in a channel."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import CheckContext, Finding, ForClient, Judged, Limit, LimitCheck, Model


class DcOffsetLimits(Model):
    """Highest direct current of a channel."""

    most: Limit


class DcOffset(LimitCheck[DcOffsetLimits]):
    """A channel does not swing around zero."""

    id = "programme.dc-offset"
    title = "A channel has a DC offset"
    why = (
        "Direct current comes from a converter or a process that is out of order. It takes headroom, and where the "
        "file begins, ends or is edited it makes a thump that the cutter follows."
    )
    how = "The mean of all samples of the channel that has more of it, in dB below full scale."
    remedy = "Ask for the file again with the offset removed, best before any limiting: a high-pass at 5 Hz does it."
    client = ForClient(
        name="A file that does not rest at zero",
        means=(
            "The sound in this file is shifted as a whole, which a faulty device does. You cannot hear it by "
            "itself, but it can thump where the music starts and stops."
        ),
        asks="Please ask your engineer to take the constant offset out of the file and send it again.",
    )
    blind_to = "An offset in one part of the side that the rest makes small, and one that comes and goes."
    Limits = DcOffsetLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "most": Judged("level.dc_offset", "<=", "the DC offset"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the channel that has more, and name it."""
        at = ctx.measured("level.dc_offset").at
        of = f"the DC offset of the {at.channel} channel" if at and at.channel else self.judges["most"].of
        yield from ctx.judge("level.dc_offset", self.limits.most, op="<=", of=of)
