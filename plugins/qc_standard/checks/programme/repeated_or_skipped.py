"""Stretches that come twice in a row."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Model, Need
from qc_standard.own_limits import MostSeconds
from qc_standard.time_faults.analysis import FaultsInTime, TimeFaults

NEAR_S, MOST_NEAR = 10.0, 2
"""Time around a repeat, and number of other ones in it, from which they are an effect of the music (practice)."""


class RepeatedOrSkippedLimits(Model):
    """Longest stretch that repeats the one before it."""

    repeated: MostSeconds


class RepeatedOrSkipped(Check[RepeatedOrSkippedLimits]):
    """A stretch of some milliseconds comes again right after itself, sample by sample."""

    id = "programme.repeated-or-skipped"
    title = "A moment comes twice"
    why = (
        "A buffer of an interface, a drive or an editor that slipped plays its content again, or leaves some out. The "
        "music stumbles, and the side is longer than it should be."
    )
    how = (
        "Samples that are the same 4 to 210 ms earlier, but for noise 40 dB below them, and differ right before and "
        "behind that stretch. It is at least as long as the time to its first copy, and at most four times. A sound "
        "that is struck again begins both times, and a tone goes on without a jump: they are no repeats."
    )
    remedy = "Listen at this place; where the music does stumble, ask for another transfer or an undamaged file."
    client = ForClient(
        name="The music stumbles for a moment",
        means=(
            "At this moment a small piece of the music is heard twice in a row, to the last digit of the file. No "
            "player repeats so exactly: it is most often a slip of the computer that made the file."
        ),
        asks=(
            "Please listen at this moment and send us a file without the stumble, or let us know that it is an effect "
            "that belongs to the music."
        ),
    )
    blind_to = (
        "Music that was skipped: what is left out is not in the file, and a cut to another place looks like a new "
        "note. Repeats that were resampled or coded with loss afterwards, those of a steady tone in step with its "
        "period, those below -50 dBFS, and three within 10 s, which are an effect. One that was meant is found too."
    )
    sensitivity = (
        "Stretches played again in ten pieces: of 5 ms 7 were found, of 7 ms and 10 ms all, of 20 to 200 ms 8 to 10. "
        "Of 50 ms, with noise added to all: 6 at -68 dBFS, 8 at -80 dBFS, all at -92 dBFS."
    )
    needs: ClassVar[tuple[type[Need[TimeFaults]], ...]] = (FaultsInTime,)
    Limits = RepeatedOrSkippedLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge each repeat by itself, without those that come again and again."""
        faults = ctx[FaultsInTime]
        for repeat in faults.repeats:
            near = sum(abs(other.first - repeat.first) < NEAR_S * faults.rate for other in faults.repeats) - 1
            if near >= MOST_NEAR:
                continue
            where = f" on the {repeat.channel} channel" if repeat.channel else ""
            of = f"the stretch{where} that is the same {1e3 * repeat.lag / faults.rate:.0f} ms earlier"
            yield from ctx.hold(faults.length(repeat), self.limits.repeated, op="<=", of=of)
