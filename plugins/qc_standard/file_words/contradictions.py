"""Compare the statements of a file with the delivery: those that contradict it, each once with all its places."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from qc.plugin_api import At, FileTags
from qc_standard.file_words import codes
from qc_standard.file_words.declared import ListedRecord, ListedSide, ListedTrack
from qc_standard.file_words.side_names import numbered
from qc_standard.file_words.statements import FILE_NAME, Statement, statements
from qc_standard.file_words.wording import joined, names_something, unrelated

_DAY = re.compile(r"[0-9]{4}[-_:/.]([0-9]{2})[-_:/.]([0-9]{2})")
_FIRST_DAY = "1997-07-01"
"""The broadcast chunk was published in July 1997; an earlier date is that of a clock that was never set."""
PLACEHOLDER = "untitled"


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Something that a file says and the delivery says otherwise."""

    kind: str
    says: str
    """the file's words and their place, to follow its name and "says": 'side B ("Side B", BWF bext Description)' """
    listed: str
    """what the delivery says"""
    field: tuple[str | int, ...]
    file: str
    at: At | None = None
    side: int | None = None
    """number of another side of the delivery that this statement points to"""


@dataclass(frozen=True, slots=True)
class Spoken:
    """The statements of one file, and the contradictions among them."""

    anything: bool
    """whether the file says anything that can be compared"""
    found: tuple[Contradiction, ...]


def compare(tags: FileTags, side: ListedSide, record: ListedRecord, changed: str) -> Spoken:
    """Compare what one file of a side says with the delivery; `changed` is the day on which it was last changed."""
    said = list(statements(tags, side, record))
    track = next((its for its in side.tracks if its.number == tags.track), None) if tags.track is not None else None
    found = [
        *_sides(said, side, record, track), *_titles(said, side, record, track), *_catalogue(said, record),
        *_isrcs(said, side, record, track), *_dates(said, side, changed), *_tracks(said, side, record, track),
    ]  # fmt: skip
    field = ("audio",) if track is None else ("tracks", track.index, "audio")
    at = None if track is None else At(track=track.number)
    placed = (replace(its, file=tags.file, field=its.field or field, at=its.at or at) for its in found)
    return Spoken(bool(said or tags.cue_points), tuple(placed))


def _contradiction(
    kind: str, of: Sequence[Statement], says: str, listed: str, *, side: int | None = None,
    field: tuple[str | int, ...] = (), at: At | None = None,
) -> Contradiction:  # fmt: skip
    """Return a contradiction with the words of its statements, two at most, unless they are quoted already."""
    places = list(dict.fromkeys(its.where if _is_quoted(its, says) else f"{its.words}, {its.where}" for its in of))
    more = f" and {len(places) - 2} more" if len(places) > 2 else ""
    kind = kind if side is None or kind == "side" else f"{kind} of another side"
    return Contradiction(kind, f"{says} ({'; '.join(places[:2])}{more})", listed, field, "", at, side)


def _is_quoted(its: Statement, says: str) -> bool:
    """Whether the words of a statement are in a message that begins with the name of the file."""
    return its.where == FILE_NAME or its.words.strip('"') in says


def _of(said: Iterable[Statement], *kinds: str) -> list[Statement]:
    return [its for its in said if its.kind in kinds]


# -- side ----------------------------------------------------------------------------------------------------


def _sides(
    said: Sequence[Statement], side: ListedSide, record: ListedRecord, track: ListedTrack | None
) -> Iterator[Contradiction]:
    """Compare the sides that a file names; one that names its own side too, such as "A of A and B", says nothing."""
    if side.number is None:
        return
    named = [(int(its.value), its) for its in _of(said, "side")]
    for its in _of(said, "track"):
        side_and_track = numbered(its.value)
        if side_and_track is not None and side_and_track[0] is not None:
            named.append((side_and_track[0], its))
    by_place = {its.where: {number for number, other in named if other.where == its.where} for _, its in named}
    clear = [(number, its) for number, its in named if len(by_place[its.where]) == 1]
    numbers = {number for number, _ in clear}
    for number in sorted(numbers - {side.number}):
        of = [its for other, its in clear if other == number]
        listed = f"the delivery has it {'as' if track is None else f'as track {track.number} of'} side {side.id}"
        other = next((it for it in record.sides if it.number == number), None)
        name = other.id if other else _letter(number, side)
        yield _contradiction("side", of, f"side {name}", listed, side=number)
    yield from _discs(said, side)


def _letter(number: int, side: ListedSide) -> str:
    """Name a side in the way in which another one is named."""
    return str(number) if side.id.isdigit() else chr(ord("A") + number - 1)


def _discs(said: Sequence[Statement], side: ListedSide) -> Iterator[Contradiction]:
    """Compare the number of a disc, which may also be that of a side."""
    assert side.number is not None
    for its in _once(_of(said, "disc")):
        disc = (side.number + 1) // 2
        if its.value.isdecimal() and int(its.value) not in {disc, side.number, 0}:
            yield _contradiction("disc", [its], f"disc {int(its.value)}", f"side {side.id} is on disc {disc}")


# -- titles --------------------------------------------------------------------------------------------------


def _titles(
    said: Sequence[Statement], side: ListedSide, record: ListedRecord, track: ListedTrack | None
) -> Iterator[Contradiction]:
    """Compare titles: those of a record with its title, others with those of the tracks in the file too."""
    own = [text for text in (record.title, record.catalogue, record.series) if joined(text)]
    placeholder = joined(record.title) == PLACEHOLDER
    for its in _once(_of(said, "album")):
        if not placeholder and names_something(record.title) and _unrelated(its.value, own):
            yield _contradiction("title", [its], f"the record {its.words}", f'the delivery says "{record.title}"')
    tracks = side.tracks if track is None else (track,)
    complete = all(it.title for it in tracks) and (track is not None or not placeholder)
    own += [it.title for it in tracks if joined(it.title)]
    for its in _once(_of(said, "title")):
        if joined(its.value) in {joined(text) for text in own}:
            continue
        other = _track_of_title(its.value, record, side)
        if other is not None and (track is not None or _unrelated(its.value, own)):
            where, that = other
            listed = f"that is track {that.number} of side {where.id} in the delivery"
            number = where.number if where is not side else None
            yield _contradiction("title", [its], f"the title {its.words}", listed, side=number)
        elif complete and _unrelated(its.value, own):
            title = record.title if track is None else track.title
            yield _contradiction("title", [its], f"the title {its.words}", f'the delivery says "{title}"')


def _unrelated(value: str, texts: Sequence[str]) -> bool:
    return all(unrelated(value, text) for text in texts)


def _track_of_title(value: str, record: ListedRecord, side: ListedSide) -> tuple[ListedSide, ListedTrack] | None:
    """Return the track of the delivery that has a title, or None."""
    places = ((where, track) for where in (side, *record.others(side)) for track in where.tracks)
    same = (it for it in places if names_something(it[1].title) and joined(it[1].title) == joined(value))
    return next(same, None)


def _once(said: Iterable[Statement]) -> list[Statement]:
    """Return the first of the statements that say the same."""
    return list({joined(its.value): its for its in reversed(list(said))}.values())[::-1]


# -- codes ---------------------------------------------------------------------------------------------------


def _catalogue(said: Sequence[Statement], record: ListedRecord) -> Iterator[Contradiction]:
    """Compare catalogue numbers; where one is right, another one is a reference."""
    found = _of(said, "catalogue number")
    if not record.catalogue or any(codes.same_number(its.value, record.catalogue) for its in found):
        return
    for number in dict.fromkeys(joined(its.value) for its in found):
        of = [its for its in found if joined(its.value) == number]
        listed = f"the delivery says {record.catalogue}"
        yield _contradiction("catalogue number", of, f"the catalogue number {of[0].value}", listed)


def _isrcs(
    said: Sequence[Statement], side: ListedSide, record: ListedRecord, track: ListedTrack | None
) -> Iterator[Contradiction]:
    tracks = side.tracks if track is None else (track,)
    own = {it.isrc for it in tracks if it.isrc}
    complete = bool(tracks) and all(it.isrc for it in tracks)
    for its in {it.value: it for it in reversed(_of(said, "ISRC"))}.values():
        if its.value in own:
            continue
        of = [it for it in said if it.kind == "ISRC" and it.value == its.value]
        other = _track_of_code(its.value, record, side)
        says = f"the ISRC {its.value}"
        field = ("tracks", tracks[0].index, "isrc") if len(tracks) == 1 and own else ()
        if other is not None:
            where, that = other
            listed = f"that is track {that.number} of side {where.id} in the delivery"
            number = where.number if where is not side else None
            yield _contradiction("ISRC", of, says, listed, side=number, field=field)
        elif complete:
            listed = f"the delivery says {tracks[0].isrc}" if len(tracks) == 1 else "no track of this side has it"
            yield _contradiction("ISRC", of, says, listed, field=field)


def _track_of_code(code: str, record: ListedRecord, side: ListedSide) -> tuple[ListedSide, ListedTrack] | None:
    places = ((where, track) for where in (side, *record.others(side)) for track in where.tracks)
    return next(((where, track) for where, track in places if track.isrc == code), None)


# -- days and numbers ----------------------------------------------------------------------------------------


def _dates(said: Sequence[Statement], side: ListedSide, changed: str) -> Iterator[Contradiction]:
    """Compare the day on which a file was made with that of the transfer, and with those of the approvals.

    An approval that is older than the file's own time of change is left to the check of the documents.
    """
    for its in _once(_of(said, "date")):
        match = _DAY.match(its.value)
        day = f"{its.value[:4]}-{match[1]}-{match[2]}" if match else ""
        if day < _FIRST_DAY or day == "2000-01-01":
            continue
        if side.transferred_on and day < side.transferred_on:
            listed = f"the transfer is of {side.transferred_on} in the delivery"
            yield _contradiction("date", [its], f"it was made on {day}", listed, field=("source", "transferred_on"))
        for index, (by, on) in enumerate(side.approvals):
            if changed <= on < day:
                listed = f"the approval by {by} is of {on}"
                field = ("source", "approvals", index, "on")
                yield _contradiction("date", [its], f"it was made on {day}", listed, field=field)


def _tracks(
    said: Sequence[Statement], side: ListedSide, record: ListedRecord, track: ListedTrack | None
) -> Iterator[Contradiction]:
    """Compare the number of a track with its own file, counted on its side, its disc or the whole record."""
    if track is None:
        return
    before = [it for other in record.sides for it in other.tracks]
    disc = [it for other in record.sides if _disc(other) == _disc(side) for it in other.tracks]
    own = {track.number, track.index + 1, before.index(track) + 1, disc.index(track) + 1}
    for its in _once(_of(said, "track")):
        number = numbered(its.value)
        if number is not None and number[1] not in {*own, 0}:
            listed = f"the delivery has it as track {track.number}"
            yield _contradiction("track number", [its], f"track {number[1]}", listed)


def _disc(side: ListedSide) -> int:
    return ((side.number or 1) + 1) // 2
