"""Two tracks of a side in each other's place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
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
)
from qc_standard.documents.track_list import MeasuredTimes, exchanged_tracks
from qc_standard.layout import DeclaredTrack


class TracksExchangedLimits(Model):
    """No limits: the list fits with two lengths exchanged or not."""


class TracksExchanged(Check[TracksExchangedLimits]):
    """Two tracks of a side lie in each other's place."""

    id = "delivery.tracks-exchanged"
    title = "Two tracks are in each other's place"
    why = (
        "Tracks in another order than the list's get each other's titles on the label, and the marks between them are "
        "cut through the music."
    )
    how = (
        "Where listed starts after a gap are not found within 1.5 s, the lengths of every two tracks are exchanged in "
        "the list. All of its starts must then be found, and those that moved by chance less than once in 100 times."
    )
    remedy = "Ask which order is right, and correct the list or have the side put together again."
    client = ForClient(
        name="Two tracks in each other's place",
        means=(
            "Two tracks have each other's lengths: in the file they come in another order than in your list. The label "
            "would name them wrongly, and the rings between the tracks would be cut through the music."
        ),
        asks="Please tell us which order is right, and send us the list or the file anew.",
    )
    blind_to = (
        "Tracks whose lengths differ by less than 3 s, tracks without silence before them, and three tracks in another "
        "order."
    )
    sensitivity = (
        "On sides of three to six pieces of real music, 55 of 57 exchanges were found by exact lists, 52 of 56 by "
        "lists rounded to the second."
    )
    needs: ClassVar[tuple[type[Need[ProgrammeBounds]], ...]] = (Programme,)
    explains: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "layout.track-times-disagree": (),
        "layout.gap-disagrees": (),
        "layout.gap-too-short": (),
    }
    Limits = TracksExchangedLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Try every two tracks; raises NotApplicableError where there are not two with times."""
        tracks = DeclaredTrack.every(ctx.declared)
        if len(tracks) < 2:
            raise NotApplicableError("there are not two tracks with times")
        found = exchanged_tracks(tracks, MeasuredTimes.of(ctx[Programme]))
        if found is not None:
            first, second = found.first, found.second
            message = (
                f"tracks {first.number} and {second.number} lie in each other's place: with their lengths exchanged "
                f"the list fits, {found.fit.words}; as it is, {found.own.words}"
            )
            at = At(start_s=first.start, end_s=second.end, track=first.number)
            measured = f"{second.number} before {first.number}"
            yield ctx.found("fail", message, measured=measured, at=at, field=("tracks", first.index, "start"))
