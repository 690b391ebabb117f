"""The delivery file as models, with all that is planned; the reader refuses by name what is not built yet."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema, model_validator

from qc.delivery.fields import (
    Counted,
    Day,
    Decibels,
    Frequency,
    InputModel,
    InsidePath,
    Line,
    SchemaOne,
    Seconds,
    Sha256,
    SideId,
    Speed,
    Text,
    ToneLevel,
)
from qc.delivery.timecode import LONGEST_TEXT, PATTERN, read_time, write_time
from qc.model.discs import SPEEDS, DiscSize, DiscSpeed
from qc.text.sanitize import misplaced, shown

STEREO = ("left", "right")
FOUR = ("front_left", "front_right", "rear_left", "rear_right")
MARK_GAP = Fraction(2)
"""s of silence written between two files where a mark, or nothing, is asked for (practice)."""
LONGEST_GAP = Fraction(60)
"""s; a longer gap is a slip of the pen (practice)."""


def _gap(text: str) -> str:
    if text not in {"mark", "segue"}:
        if len(text) > LONGEST_TEXT or re.fullmatch(r"\S+ ?s", text) is None:
            raise ValueError(f'"{shown(text)}" is not a gap; write mark, segue or a time such as "3 s"')
        if read_time(text.removesuffix("s")) > LONGEST_GAP:
            raise ValueError(f'"{shown(text)}" is longer than a minute; write mark, segue or a time such as "3 s"')
    return text


def _channels(names: tuple[str, ...]) -> tuple[str, ...]:
    if names not in {STEREO, FOUR}:
        raise ValueError(f"[{shown(', '.join(names))}] is not an order of channels; write [left, right]")
    return names


Gap = Annotated[
    str,
    AfterValidator(_gap),
    WithJsonSchema({"type": "string", "pattern": rf"^(mark|segue|{PATTERN.strip('^$')} ?s)$"}),
]
Channels = Annotated[tuple[str, ...], AfterValidator(_channels), WithJsonSchema({"enum": [list(STEREO), list(FOUR)]})]
# Read as text, so that 33 and "33" are the same.
Rpm = Annotated[
    DiscSpeed,
    BeforeValidator(lambda value: str(value) if isinstance(value, int) else value),
    WithJsonSchema({"enum": [*map(int, SPEEDS), *SPEEDS]}),
]


class Part(InputModel):
    """The volume of a series that this delivery is."""

    of: Line
    volume: Counted


class Disc(InputModel):
    """The disc to be cut; speed "33" is 33 1/3 turns a minute."""

    size: DiscSize = Field(examples=["12in"])
    speed: Rpm = Field(examples=["33"])


class FoldDown(InputModel):
    """The fold-down of four channels to two."""

    rear: Decibels
    law: Line


class Tone(InputModel):
    """One line-up tone."""

    start: Seconds
    frequency: Frequency
    level: ToneLevel


class Lineup(InputModel):
    """The line-up tones that came with a tape transfer."""

    file: InsidePath
    tones: tuple[Tone, ...]


class Approval(InputModel):
    """Who approved what, in their own words."""

    by: Line
    on: Day
    recommended_level: Decibels | None = None
    """dB"""
    note: Text | None = None


class Source(InputModel):
    """The source of the transfer."""

    medium: Line
    generation: Counted | None = None
    format: Line | None = None
    speed: Speed | None = None
    equalisation: Line | None = None
    transferred_on: Day | None = None
    approvals: tuple[Approval, ...] = ()


class TrackEntry(InputModel):
    """One track; start and end are exact seconds of the side's file, or of the side joined from one file a track.

    `gap_after` of a track with `audio` of its own is the silence written before the next file: the given time,
    none for `segue`, and 2 s for `mark` or by default (practice). Its start and end are computed.
    """

    number: Counted = Field(examples=["1"])
    title: Line | None = None
    start: Seconds | None = None
    end: Seconds | None = None
    isrc: Line | None = None
    gap_after: Gap | None = None
    audio: InsidePath | None = None

    @property
    def gap_s(self) -> Fraction:
        """Seconds of silence written after this track's own file."""
        if self.gap_after in {None, "mark"}:
            return MARK_GAP
        return Fraction(0) if self.gap_after == "segue" else read_time(str(self.gap_after).removesuffix("s"))


class Waiver(InputModel):
    """A waiver by an owner for findings of a check, on some tracks and between two times or on the whole side.

    `expires` is the last day of its validity, by default unlimited.
    """

    check: Line = Field(examples=["level.clipped"])
    # An empty list might mean every track or none, so it is refused.
    tracks: tuple[Counted, ...] = Field((), min_length=1)
    from_: Seconds | None = Field(None, alias="from")
    to: Seconds | None = None
    reason: Text = Field(examples=["meant so by the producer"])
    owner: Line = Field(examples=["the mastering house"])
    expires: Day | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        start = self.from_ or Fraction(0)
        if self.to is not None and self.to <= start:
            times = f"ends at {write_time(self.to)}, which is not after its start at {write_time(start)}"
            raise misplaced(f"the waiver {times}; correct one of the two", ("to",))
        return self


class Side(InputModel):
    """One side of the disc, in one file or in one file a track; without `cut_level` (dB) the level is free."""

    id: SideId = Field(examples=["A"])
    audio: InsidePath | None = None
    sha256: Sha256 | None = None
    channels: Channels | None = None
    fold_down: FoldDown | None = None
    reference: InsidePath | None = None
    cut_level: Decibels | None = None
    inscription: Line | None = None
    prepared: tuple[Line, ...] = ()
    lineup: Lineup | None = None
    source: Source | None = None
    tracks: tuple[TrackEntry, ...] = ()
    waivers: tuple[Waiver, ...] = ()

    @model_validator(mode="after")
    def _one_place_for_the_audio(self) -> Self:
        own = [i for i, track in enumerate(self.tracks) if track.audio is not None]
        if self.audio is not None and own:
            raise misplaced(
                "the side has an audio file, and this track one of its own; leave one of the two out",
                ("tracks", own[0], "audio"),
                ("audio",),
            )
        if self.audio is None and not own:
            raise misplaced('"audio" is missing; give one audio file for the side, as audio: side-a.wav')
        if own:
            self._check_files()
        return self

    def _check_files(self) -> None:
        """Check the tracks of a side with one file a track."""
        last = len(self.tracks) - 1
        if self.sha256 is not None:
            remedy = "put the digests of one file a track into a file SHA256SUMS beside the delivery"
            raise misplaced(f'"sha256" is the digest of one file for the side; {remedy}', ("sha256",))
        for i, track in enumerate(self.tracks):
            if track.audio is None:
                what = f'track {track.number} has no "audio", others of this side have'
                raise misplaced(f"{what}; give every track its file, or the side one", ("tracks", i))
            for name in ("start", "end"):
                if getattr(track, name) is not None:
                    what = f'"{name}" is worked out where a track has a file of its own; leave it out'
                    raise misplaced(what, ("tracks", i, name))
            if i == last and track.gap_after not in {None, "mark", "segue"}:
                raise misplaced("no file follows this gap; leave it out", ("tracks", i, "gap_after"))

    def itself(self) -> dict[str, Any]:
        """Return the side as plain data for a report: seconds, dB, days as text; omitted keys stay omitted.

        Waivers are not among it: no check sees what is waived.
        """
        return self.model_dump(mode="json", exclude={"waivers"}, exclude_none=True, exclude_defaults=True)

    @model_validator(mode="after")
    def _tracks_in_order(self) -> Self:
        places: dict[int, int] = {}
        for i, track in enumerate(self.tracks):
            if track.number in places:
                other = ("tracks", places[track.number], "number")
                raise misplaced(
                    f"track number {track.number} is given twice on this side", ("tracks", i, "number"), other
                )
            places[track.number] = i
            if self.audio is not None:
                self._check_times(i)
        return self

    def _check_times(self, i: int) -> None:
        """Check one track of a side in one file against itself and the track before."""
        track = self.tracks[i]
        if track.start is None or track.end is None:
            name = "start" if track.start is None else "end"
            raise misplaced(f'"{name}" is missing; track {track.number} needs start and end', ("tracks", i))
        if track.end <= track.start:
            times = f"ends at {write_time(track.end)}, which is not after its start at {write_time(track.start)}"
            raise misplaced(f"track {track.number} {times}; correct one of the two", ("tracks", i, "end"))
        if track.gap_after not in {None, "mark", "segue"}:
            raise misplaced(
                "a gap in seconds is for sides with one file a track; write mark or segue",
                ("tracks", i, "gap_after"),
            )
        before = self.tracks[i - 1] if i else None
        if before is None or before.start is None or before.end is None or track.start >= before.end:
            return
        where = ("tracks", i, "start")
        starts = f"track {track.number} starts at {write_time(track.start)}, before track {before.number}"
        if track.start < before.start:
            raise misplaced(f"{starts} does; list the tracks in order of start", where, ("tracks", i - 1, "start"))
        raise misplaced(
            f"{starts} ends at {write_time(before.end)}; tracks must not overlap",
            where,
            ("tracks", i - 1, "end"),
        )


MOST_SIDES = 99
"""Sides of one delivery; each takes the work of a whole run (practice)."""


class Delivery(InputModel):
    """Everything that was sent for one disc."""

    schema_: SchemaOne = Field(alias="schema", examples=["1"])
    title: Line = Field(examples=["Quiet Harbour"])
    catalogue: Line | None = None
    part: Part | None = None
    disc: Disc | None = None
    ruleset: Line | None = None
    levels: Literal["each", "release"] | None = None
    """how the free sides of a disc are judged: each at its own recommended level, or all at the lowest of them"""
    sides: tuple[Side, ...] = Field(min_length=1)
    notes: Text | None = None

    @model_validator(mode="after")
    def _disc_or_ruleset(self) -> Self:
        if self.disc is None and self.ruleset is None:
            raise misplaced('"disc" is missing; write it as disc: {size: 12in, speed: 33}, or name a ruleset')
        return self

    @model_validator(mode="after")
    def _no_more_sides_than_a_set_has(self) -> Self:
        if len(self.sides) > MOST_SIDES:
            what = f"the delivery has {len(self.sides)} sides; at most {MOST_SIDES} are judged together"
            raise misplaced(f"{what}, so send several deliveries", ("sides", MOST_SIDES))
        return self

    @model_validator(mode="after")
    def _sides_have_names_of_their_own(self) -> Self:
        # file names and documents do not always distinguish "a" from "A"
        places: dict[str, int] = {}
        for i, side in enumerate(self.sides):
            if (key := side.id.casefold()) in places:
                first = places[key]
                raise misplaced(
                    f'side id "{side.id}" is given twice; name every side differently',
                    ("sides", i, "id"),
                    ("sides", first, "id"),
                )
            places[key] = i
        return self

    def side(self, side_id: str) -> Side:
        """Return a side by its id; raises KeyError for an unknown one."""
        return {side.id: side for side in self.sides}[side_id]

    def itself(self) -> dict[str, Any]:
        """Return the delivery as plain data, without its sides and omitted keys."""
        return self.model_dump(exclude={"sides"}, exclude_none=True, exclude_defaults=True)

    def declared(self, side_id: str) -> dict[str, Any]:
        """Return a side as plain data for a report: seconds, dB, days as text."""
        return self.side(side_id).itself()
