"""Dropouts: sound that stops at once and returns at once."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Model, Need
from qc_standard.layout import DeclaredTrack
from qc_standard.own_limits import MostDecibels
from qc_standard.time_faults.analysis import FaultsInTime, TimeFaults

NEAR_GAP = 0.3
"""Distance in s of a silence from the declared start or end of a track within which it is a gap."""


class DropoutLimits(Model):
    """Greatest fall of the level in a dropout."""

    fall: MostDecibels


class Dropout(Check[DropoutLimits]):
    """The level falls at once and returns at once, and the sound goes on as before."""

    id = "programme.dropout"
    title = "There is a dropout"
    why = (
        "A tape that lost contact, a damaged file or a muted moment takes away a piece of the music. It cannot be put "
        "back from this file, and everyone hears it."
    )
    how = (
        "By 1 ms, the level, also with treble lifted, falls at once by 9 dB or more, and returns at once after 5 to "
        "310 ms. It is a dropout where the level is the same right up to the edges and all bands change alike, or "
        "level and spectrum are the same before and after. What is left may be silent; a silence may last 6 s."
    )
    remedy = "Listen at this place; where the stop is not meant, ask for another transfer or an undamaged file."
    client = ForClient(
        name="The sound drops out for a moment",
        means=(
            "At this moment the music suddenly becomes quiet or stops, and then goes on as if nothing had happened. "
            "That is most often a damaged file or a faulty tape, and the record would have the same hole."
        ),
        asks=(
            "Please listen at this moment and send us a file without the hole, or let us know that the stop is part of "
            "the music."
        ),
    )
    blind_to = (
        "Falls of less than 9 dB or slower than some milliseconds, most of those within speech or a pulsing sound, and "
        "stops that come three times within 3 s. A stop that is played or cut into the music is found too. Silences "
        "at declared starts and ends of tracks are gaps."
    )
    sensitivity = (
        "One in each of ten pieces. Falls for 120 ms: 5 were found from 11 dB on, 7 with 60 dB. With nothing left: all "
        "for 5 ms and 10 ms, 8 for 300 ms, 6 for 2.5 s. At 100 places, 15 dB for 120 ms: 72 %, and 80 % without the "
        "piece of speech."
    )
    needs: ClassVar[tuple[type[Need[TimeFaults]], ...]] = (FaultsInTime,)
    Limits = DropoutLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge each dropout by itself, without the gaps between declared tracks."""
        faults = ctx[FaultsInTime]
        borders = [border for track in DeclaredTrack.every(ctx.declared) for border in (track.start, track.end)]
        for dropout in faults.dropouts:
            start, end = dropout.first / faults.rate, dropout.end / faults.rate
            if end - start > NEAR_GAP and any(start - NEAR_GAP < border < end + NEAR_GAP for border in borders):
                continue
            where = f" on the {dropout.channel} channel" if dropout.channel else ""
            of = f"the fall of a dropout of {1e3 * (end - start):.0f} ms{where}"
            yield from ctx.hold(faults.fall(dropout), self.limits.fall, op="<=", of=of)
