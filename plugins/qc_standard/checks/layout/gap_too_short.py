"""The silence at each declared gap between two tracks."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import (
    At,
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    Programme,
    ProgrammeBounds,
    Quantity,
)
from qc_standard.layout import DeclaredTrack, gaps, silences
from qc_standard.own_limits import LeastSeconds


class GapTooShortLimits(Model):
    """Least silence between two tracks that have a gap between them."""

    least: LeastSeconds


class GapTooShort(Check[GapTooShortLimits]):
    """The silence between two tracks is very short."""

    id = "layout.gap-too-short"
    title = "The gap between two tracks is too short"
    why = (
        "A gap shows where a track begins, and the needle is set down in it. Within a short one the mark takes a "
        "great part of a turn, so that it is hard to see and easily missed; often the silence was cut off by mistake."
    )
    how = (
        "The longest silence, of 0.3 s or more, that lies in each declared gap of more than 0.3 s, from end to end. "
        "Segues have none, and where music fills the gap it is layout.gap-disagrees."
    )
    remedy = "Ask whether the tracks are meant to follow so soon; have silence added, or declare a segue."
    client = ForClient(
        name="A very short pause between two tracks",
        means=(
            "Between these tracks there is hardly any silence. On the record the ring between them will be hard to "
            "see, and hard to hit with the needle."
        ),
        asks="Please tell us whether it is meant so, or send us a file with a longer pause there.",
    )
    blind_to = "Gaps that the track list does not have, and quiet endings that are loud enough to count as music."
    sensitivity = (
        "Half of the gaps planted in music were found from 0.8 s down, all from 0.5 s down: a track that fades "
        "out ends before its declared end, which makes the silence longer."
    )
    needs: ClassVar[tuple[type[Need[ProgrammeBounds]], ...]] = (Programme,)
    Limits = GapTooShortLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge every gap by itself; raises NotApplicableError where none is declared."""
        declared = list(gaps(DeclaredTrack.every(ctx.declared)))
        if not declared:
            raise NotApplicableError("no gap between two tracks is declared")
        quiet = silences(ctx[Programme])
        for track, following in declared:
            inside = [silence for silence in quiet if silence.start_s < following.start and silence.end_s > track.end]
            if not inside:
                continue
            longest = max(inside, key=lambda silence: silence.seconds)
            at = At(start_s=longest.start_s, end_s=longest.end_s, track=track.number)
            yield from ctx.hold(
                Quantity(value=longest.seconds, unit="s", at=at), self.limits.least, op=">=",
                of=f"the silence between tracks {track.number} and {following.number}",
                field=("tracks", track.index, "end"),
            )  # fmt: skip
