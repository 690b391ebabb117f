"""Models of a case file: a synthetic delivery, and the expected result of one check."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from qc.delivery.fields import InputModel, Line, SideId, Text
from qc.delivery.model import Disc
from qc.ruleset.model import Entry
from qc.testing.fault_steps import FileFaults
from qc.testing.steps import Step
from qc.testing.written import Number, Rate, Seconds
from qc.text.sanitize import misplaced

Coding = Literal["8 bit", "16 bit", "24 bit", "32 bit", "32 bit float", "64 bit float"]
Audio = Annotated[tuple[Step, ...], Field(min_length=1)]


class TrackMade(InputModel):
    """A track of the delivery; with `audio` it is written to its own file, "a-1.wav" of side A."""

    number: Line | None = None
    """the next number by default"""
    title: Line | None = None
    start: Line | None = Field(None, examples=['"0:02.0"'])
    end: Line | None = Field(None, examples=['"0:10.0"'])
    isrc: Line | None = None
    gap_after: Line | None = None
    audio: Audio | None = None
    rate: Rate = 48_000


class CaseSide(InputModel):
    """A side: its signals and faults, its file, and its lines in the delivery file."""

    id: SideId = Field("A", examples=["A"])
    audio: Audio | None = None
    rate: Rate = 48_000
    channels: Literal["1", "2", "4"] = "2"
    """channels of the file: "1" has the left one only, "4" has both channels twice"""
    coding: Coding = "24 bit"
    container: Literal["WAV", "RF64", "AIFF", "FLAC"] = "WAV"
    file: FileFaults = FileFaults()
    tracks: tuple[TrackMade, ...] = ()
    """declared tracks, none by default"""
    paper: Mapping[str, Any] = Field(default_factory=dict)
    """further keys of the side in the delivery file: cut_level, inscription, source ..."""

    @model_validator(mode="after")
    def _sounds(self) -> Self:
        own = [track.audio is not None for track in self.tracks]
        if (self.audio is not None) == any(own):
            raise misplaced('a side has "audio", or each of its tracks has; write one of the two')
        if any(own) and not all(own):
            raise misplaced('give each track its "audio", or none', ("tracks", own.index(False)))
        return self


class Expected(InputModel):
    """Expectations besides the outcome, which is part of the file name.

    `severity`, `found`, `kind`, `at`, `track` and `channel` describe one finding; some finding must match them all.
    """

    side: SideId | None = None
    """the side that the expectations are about, by default the first"""
    findings: Annotated[int, Field(ge=0)] | None = None
    measured: Mapping[str, Number] = Field(default_factory=dict)
    """measurement of the side -> expected value"""
    says: Text | None = None
    """part of the reason of the outcome or of the message of a finding"""
    severity: Literal["warn", "fail"] | None = None
    found: Number | None = None
    """expected number of the finding"""
    kind: Line | None = None
    """expected text of a finding without a number: "cut off" """
    at: Seconds | None = None
    """file second that the finding must cover, with a tolerance of `within`"""
    within: Seconds = 0.05
    track: Annotated[int, Field(ge=1)] | None = None
    channel: Literal["left", "right"] | None = None

    @property
    def finding(self) -> bool:
        """Whether a finding is expected."""
        expected = (self.severity, self.found, self.kind, self.at, self.track, self.channel)
        return any(value is not None for value in expected)


class CaseFile(InputModel):
    """The contents of a case file."""

    why: Text = Field(examples=["A 100 Hz tone that digs 1 um deeper than the warning allows."])
    disc: Disc | None = None
    """12 inches at 33 1/3 by default"""
    ruleset: Line | None = None
    """NAME, NAME@VERSION, or a path relative to the case file; by default the newest ruleset for the disc"""
    limits: Mapping[Line, Mapping[Line, Entry]] = Field(default_factory=dict)
    """check id -> key -> limit or parameter, which replaces that of the ruleset or is added"""
    delivery: Mapping[str, Any] = Field(default_factory=dict)
    """further or replaced top-level keys of the delivery file: catalogue, part, notes ..."""
    sides: tuple[CaseSide, ...] = Field(min_length=1)
    beside: Mapping[Line, Text] = Field(default_factory=dict)
    """file name -> text, of further files in the folder of the delivery, such as lists of checksums"""
    expect: Expected = Expected()
