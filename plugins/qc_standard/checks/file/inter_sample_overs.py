"""Passages in which the wave between the samples passes full scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import ClassVar

from qc.plugin_api import CheckContext, Finding, ForClient, Judged, Limit, LimitCheck, Model, Stretch, clock
from qc_standard.overs import PASSAGES, OverPassage, Overs

NAMED = 8
"""Passages whose times are in the notes, the highest."""


class InterSampleOversLimits(Model):
    """Most passages."""

    passages: Limit


class InterSampleOvers(LimitCheck[InterSampleOversLimits]):
    """The wave between the samples passes full scale in many places."""

    id = "file.inter-sample-overs"
    title = "The wave passes full scale between samples"
    why = (
        "A limiter that looks at the samples alone lets the wave between them pass full scale. Each converter on the "
        "way to the cutter may clip there, some more than others, so that the disc need not sound as the file did."
    )
    how = (
        "The wave at four times the rate, as broadcast meters draw it (ITU-R BS.1770), where it is 0.02 dB above full "
        "scale or more. Overs within half a second of each other are one passage. The place is that of the highest; "
        "notes name the eight highest with time, channel and true peak."
    )
    remedy = "Ask for the master with a true-peak limiter, or turned down by as much as it passes full scale."
    client = ForClient(
        name="Peaks between the samples",
        means=(
            "A file stores sound as single points. In these places the curve through the points goes beyond what a "
            "file is made for, so that some equipment will distort there and other equipment will not."
        ),
        asks=(
            "Please have the file made again a little quieter, or with a true-peak limiter. Your record will not be "
            "quieter for it: its loudness is set when it is cut."
        ),
    )
    blind_to = (
        "Single overs, which are left to the true peak; partials above a third of the sample rate whose samples are "
        "all below -6 dBFS; overs that were turned down or clipped afterwards."
    )
    sensitivity = "Waves of +0.05 dBTP in eight places are found in all music that has no overs of its own."
    needs = (Overs,)
    Limits = InterSampleOversLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "passages": Judged(PASSAGES, "<=", "the number of passages above full scale between samples"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare the number of passages with its limit; the finding reaches from the first to the last."""
        passages = ctx[Overs]
        if passages:
            ctx.note(_listed(passages))
        for finding in super().evaluate(ctx):
            highest = max(passages, key=lambda passage: passage.peak_db)
            stretch = Stretch(start_s=passages[0].at.start_s or 0.0, end_s=passages[-1].at.end_s or 0.0)
            reach = f"from {clock(stretch.start_s)} to {clock(stretch.end_s)}"
            message = f"{finding.message}, {highest.peak_db:+.1f} dBTP at the most, {reach}"
            yield finding.model_copy(update={"stretch": stretch, "message": message})


def _listed(passages: Sequence[OverPassage]) -> str:
    """List the highest passages in the order of time."""
    highest = sorted(passages, key=lambda passage: -passage.peak_db)[:NAMED]
    named = [
        f"{clock(its.peak_s)} ({its.at.channel or 'both channels'}, {its.peak_db:+.2f} dBTP)"
        for its in sorted(highest, key=lambda its: its.peak_s)
    ]
    more = f", and {len(passages) - NAMED} more" if len(passages) > NAMED else ""
    return f"overs between samples at {', '.join(named)}{more}"
