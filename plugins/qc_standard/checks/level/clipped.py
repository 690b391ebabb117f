"""Waves that were cut off, at full scale or below it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import CheckContext, Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model, Stretch, clock
from qc_standard.advice import clipping
from qc_standard.peaks import FLAT_TOPS, Peaks, PeaksResult


class ClippedLimits(Model):
    """Most places of a side at which the wave is cut off.

    `flat_tops` counts them at any level; `runs` those at full scale alone, as rulesets before 2.0.0 do.
    """

    runs: Limit | None = None
    flat_tops: Limit | None = None


class Clipped(LimitCheck[ClippedLimits]):
    """The programme was clipped before it came here."""

    id = "level.clipped"
    title = "The programme is clipped"
    why = (
        "A wave that was cut off has corners. The recording curve lifts their treble, the cutter works hard at them, "
        "and every playback of the disc roughens them further."
    )
    how = (
        "Four or more equal samples (within two steps of 16 bits) that are the greatest about them, at -26 dBFS or "
        "above, where the wave falls too steeply for a crest; three at a channel's extreme from -0.1 dBFS up. What is "
        "flat again beside them on both sides is a square wave. The place is that of the longest run."
    )
    remedy = "Ask for the mix before it was limited or clipped; lowering the level of this file fixes nothing."
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
        "Below full scale: runs of three samples, short runs that fall away gently or were dithered at 16 bits, and "
        "clipping that was filtered, resampled or coded with losses afterwards. Clipping that leaves nothing but flat "
        "parts looks like a square wave, and a synthesiser that cuts off its own waves looks like clipping."
    )
    needs = (Peaks,)
    Limits = ClippedLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "runs": Judged("level.clipped_runs", "<=", "the number of clipped runs"),
        "flat_tops": Judged(FLAT_TOPS, "<=", "the number of clipped runs at any level"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare the number of runs with its limit; the finding reaches from the first run to the last."""
        result = ctx[Peaks]
        for finding in super().evaluate(ctx):
            several = [runs for runs in result.clipping(finding.measure) if runs.count]
            first, last = min(runs.begin for runs in several), max(runs.end for runs in several)
            stretch = Stretch(start_s=first / result.rate, end_s=last / result.rate)
            what = f"{finding.message}{_cut_off(result, finding.measure)}"
            reach = f"{what}, from {clock(stretch.start_s)} to {clock(stretch.end_s)}"
            yield finding.model_copy(update={"stretch": stretch, "message": reach})

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the number of runs by channel and the clipping level."""
        return clipping.add_remedy(finding, look)


def _cut_off(result: PeaksResult, measure: str) -> str:
    """Return the clipping level of the longest flat top as part of a sentence; empty for runs at full scale."""
    if measure != FLAT_TOPS:
        return ""
    longest = max(result.flat_tops, key=lambda runs: runs.longest)
    return f", the longest cut off at {clipping.level_of(longest.level)}"
