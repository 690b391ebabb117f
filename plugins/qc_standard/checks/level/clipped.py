"""Samples that were cut off at full scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.contract import CheckContext, Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model, Stretch
from qc.quantity import clock
from qc_standard.advice import clipping
from qc_standard.peaks import Peaks


class ClippedLimits(Model):
    """How many clipped runs a side may have."""

    runs: Limit


class Clipped(LimitCheck[ClippedLimits]):
    """The programme was clipped before it came here."""

    id = "level.clipped"
    title = "The programme is clipped"
    why = (
        "A wave that was cut off has corners. The recording curve lifts their treble, the cutter works hard at them, "
        "and every playback of the disc roughens them further."
    )
    how = (
        "Runs of three or more equal samples at a channel's greatest or least value, at -0.1 dBFS or above, counted "
        "over both channels. The place given is that of the longest run."
    )
    remedy = "Ask for the mix before it was limited or clipped; lowering the level of this file mends nothing."
    client = ForClient(
        name="Moments that are louder than a file can hold",
        means=(
            "At these moments the tops of the sound waves were cut off before the file reached us, which engineers "
            "call clipping. It sounds harsh or crackles, and a record makes it harsher still."
        ),
        asks=(
            "Please ask whoever mixed or mastered the music for a version from before it was made so loud. To turn "
            "this file down does not help: what was cut off stays away."
        ),
    )
    blind_to = (
        "Clipping below full scale, when the level was taken down afterwards. A slow wave that just reaches full scale "
        "may hold three equal samples and be sound."
    )
    needs = (Peaks,)
    Limits = ClippedLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "runs": Judged("level.clipped_runs", "<=", "the number of clipped runs"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Hold the number of runs against its limit; the finding reaches from the first run to the last."""
        result = ctx[Peaks]
        several = [runs for runs in result.runs if runs.count]
        for finding in super().evaluate(ctx):
            first, last = min(runs.begin for runs in several), max(runs.end for runs in several)
            stretch = Stretch(start_s=first / result.rate, end_s=last / result.rate)
            reach = f"{finding.message}, from {clock(stretch.start_s)} to {clock(stretch.end_s)}"
            yield finding.model_copy(update={"stretch": stretch, "message": reach})

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Say how many runs there are on which channel, and at what level they were cut off."""
        return clipping.mend(finding, look)
