"""The track list of each side compared with the audio of every side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import (
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    NotMeasuredError,
    Programme,
    ProgrammeBounds,
    Scope,
)
from qc_standard.documents.track_list import MeasuredTimes, OtherList, list_of_another_side
from qc_standard.layout import DeclaredTrack, same_programme


class SidesExchangedLimits(Model):
    """No limits: the audio fits the list of another side or not."""


class SidesExchanged(Check[SidesExchangedLimits]):
    """The audio of a side fits the track list of another side."""

    id = "delivery.sides-exchanged"
    title = "The audio of a side is that of another side"
    why = (
        "Files that were given each other's names are cut on the wrong sides, under the wrong labels. The lists then "
        "disagree with the sound in many places at once, and all of them have this one cause."
    )
    how = (
        "Where at most half of a side's listed starts after a gap are found within 1.5 s, those of every other side "
        "are tried; all of them must be found, and by chance less than once in 100 times. A list without such a start "
        "is compared by its end, and then both sides must fit each other's list."
    )
    remedy = "Exchange the names of the files in the delivery, or ask which side each file is."
    client = ForClient(
        name="Sides in each other's place",
        means=(
            "The music in the file of one side begins and pauses where your list has the tracks of the other side. "
            "Most often two files were given each other's names. Cut like this, each side of the record would have "
            "the wrong label."
        ),
        asks="Please tell us which file belongs to which side, or send us the right files.",
    )
    blind_to = "Sides without track times, with files of their own for each track, or with lists that are nearly alike."
    sensitivity = (
        "All of 60 sides of three to six pieces of real music were found by exact lists, 58 by lists rounded to the "
        "second."
    )
    scope: ClassVar[Scope] = "delivery"
    needs: ClassVar[tuple[type[Need[ProgrammeBounds]], ...]] = (Programme,)
    explains: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "layout.track-times-disagree": (),
        "layout.gap-disagrees": (),
        "layout.gap-too-short": (),
        "delivery.tracks-exchanged": (),
        "programme.speed": (),
        "delivery.audio-disagrees": ("shorter than declared",),
        "file.says-otherwise": ("side", "sides exchanged", "title of another side", "ISRC of another side"),
    }
    Limits = SidesExchangedLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge each side; raises NotApplicableError where fewer than two have track times."""
        listed = {source: DeclaredTrack.every(ctx.of(source).declared) for source in ctx.sources}
        lists = {source: tracks for source, tracks in listed.items() if tracks}
        if len(lists) < 2:
            raise NotApplicableError("there are no track times of two sides to compare")
        found: dict[str, OtherList | None] = {}
        for source in lists:
            try:
                programme = ctx.of(source)[Programme]
            except NotMeasuredError:
                continue
            found[source] = list_of_another_side(source, MeasuredTimes.of(programme), lists)
        if not found:
            raise NotMeasuredError("no side with track times could be measured")
        for source, other in found.items():
            if other is not None and (other.fit.of > 1 or _each_other(source, other, found)):
                its, side = ctx.of(other.side), ctx.of(source)
                if _same_audio(side, its):
                    continue  # one file was sent for both sides, which delivery.same-audio-twice finds
                message = (
                    f"the audio of side {side.side} fits the track list of side {its.side}, {other.fit.words}; its "
                    f"own, {other.own.words}"
                )
                yield side.found("fail", message, measured=f"as listed for side {its.side}")


def _each_other(source: str, other: OtherList, found: Mapping[str, OtherList | None]) -> bool:
    """Whether the other side's audio fits this side's list as well."""
    back = found.get(other.side)
    return back is not None and back.side == source


def _same_audio(first: CheckContext, second: CheckContext) -> bool:
    try:
        return same_programme(first[Programme], second[Programme])
    except NotMeasuredError:
        return False
