"""Declared starts of tracks compared with the silences of the audio."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
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
    clock,
)
from qc_standard.layout import DeclaredTrack, gaps, silences
from qc_standard.own_limits import MostSeconds

NEAR_S = 10.0
"""Greatest distance in s from the declared start at which the end of a silence is taken as the start (practice)."""


class TrackTimesDisagreeLimits(Model):
    """Greatest distance between the declared and the measured start of a track."""

    start: MostSeconds


class TrackTimesDisagree(Check[TrackTimesDisagreeLimits]):
    """Tracks start elsewhere than the delivery declares."""

    id = "layout.track-times-disagree"
    title = "A track starts elsewhere than the track list says"
    why = (
        "The mark between two tracks is cut where the track list has it. With wrong times it runs through the music, "
        "and the titles on the label do not fit. Times that are off often belong to another version of the side."
    )
    how = (
        "For the first track, and for each track after a declared gap, the first 10 ms of programme after at least "
        "0.3 s of silence near the declared start. A first track that begins late is only lead-in and only warned of."
    )
    remedy = "Correct the times in the delivery, or ask which version of the side they belong to."
    client = ForClient(
        name="Track times that do not fit the music",
        means=(
            "Between tracks we cut the narrow ring that one sees on a record, where your list has it. At these "
            "moments the music begins elsewhere than the list says, so that the ring would run through the music. "
            "Perhaps the list belongs to another version."
        ),
        asks="Please send us the right times, or the version of the side that they belong to.",
    )
    blind_to = "Tracks that follow each other without silence: nothing but the ear tells where they begin."
    needs: ClassVar[tuple[type[Need[ProgrammeBounds]], ...]] = (Programme,)
    Limits = TrackTimesDisagreeLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge each track by itself; raises NotApplicableError where no track is declared."""
        tracks = DeclaredTrack.every(ctx.declared)
        if not tracks:
            raise NotApplicableError("no track times are declared")
        for track, start_s in _starts(tracks, ctx[Programme]):
            limit = self.limits.start
            if track is tracks[0] and start_s > track.start:
                limit = limit.model_copy(update={"fail": None})
            apart = Quantity(value=abs(start_s - track.start), unit="s", at=At(start_s=start_s, track=track.number))
            of = (
                f"the distance from the declared start of track {track.number}, {clock(track.start)}, to where its "
                f"music begins, {clock(start_s)},"
            )
            yield from ctx.hold(apart, limit, op="<=", of=of, field=("tracks", track.index, "start"))


def _starts(tracks: list[DeclaredTrack], programme: ProgrammeBounds) -> Iterator[tuple[DeclaredTrack, float]]:
    """Return each track that starts after a silence, with its measured start in file seconds."""
    yield tracks[0], programme.start_s
    quiet = silences(programme)
    for _, track in gaps(tracks):
        around = [silence for silence in quiet if silence.start_s <= track.start <= silence.end_s]
        near = [silence for silence in quiet if abs(silence.end_s - track.start) <= NEAR_S]
        candidates = around or near
        if candidates:
            yield track, min((silence.end_s for silence in candidates), key=lambda second: abs(second - track.start))
