"""A case file as models: a delivery made by code, and what one check is to find in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from qc.delivery.fields import InputModel, Line, SideId, Text
from qc.delivery.model import Disc
from qc.ruleset.model import LimitEntry
from qc.testing.fault_steps import FileFaults
from qc.testing.steps import Step
from qc.testing.written import Number, Rate, Seconds
from qc.text.sanitize import misplaced

Coding = Literal["8 bit", "16 bit", "24 bit", "32 bit", "32 bit float", "64 bit float"]
Audio = Annotated[tuple[Step, ...], Field(min_length=1)]


class TrackMade(InputModel):
    """A track as the delivery is to write it; with `audio` it comes as a file of its own, "a-1.wav" of side A."""

    number: Line | None = None
    """counted on where it is left out"""
    title: Line | None = None
    start: Line | None = Field(None, examples=['"0:02.0"'])
    end: Line | None = Field(None, examples=['"0:10.0"'])
    isrc: Line | None = None
    gap_after: Line | None = None
    audio: Audio | None = None
    rate: Rate = 48_000


class CaseSide(InputModel):
    """A side: what sounds, how it is written, and what the paper says of it."""

    id: SideId = Field("A", examples=["A"])
    audio: Audio | None = None
    rate: Rate = 48_000
    channels: Literal["1", "2", "4"] = "2"
    """channels of the file: one is the left, four are the two twice"""
    coding: Coding = "24 bit"
    container: Literal["WAV", "RF64", "AIFF", "FLAC"] = "WAV"
    file: FileFaults = FileFaults()
    tracks: tuple[TrackMade, ...] = ()
    """none are declared where they are left out"""
    paper: Mapping[str, Any] = Field(default_factory=dict)
    """more lines of the side as a delivery file has them: cut_level, inscription, source ..."""

    @model_validator(mode="after")
    def _sounds(self) -> Self:
        own = [track.audio is not None for track in self.tracks]
        if (self.audio is not None) == any(own):
            raise misplaced('a side has "audio", or each of its tracks has; write one of the two')
        if any(own) and not all(own):
            raise misplaced('give each track its "audio", or none', ("tracks", own.index(False)))
        return self


class Expected(InputModel):
    """What is expected beside the outcome, which the name of the file says.

    `severity`, `found`, `kind`, `at`, `track` and `channel` describe one finding: there must be one that fits them all.
    """

    side: SideId | None = None
    """the side that is looked at; the first where it is left out"""
    findings: Annotated[int, Field(ge=0)] | None = None
    measured: Mapping[str, Number] = Field(default_factory=dict)
    """measurement of the side -> what it must be"""
    says: Text | None = None
    """words that stand in the reason beside the outcome, or in the message of a finding"""
    severity: Literal["warn", "fail"] | None = None
    found: Number | None = None
    """the number that the finding gives"""
    kind: Line | None = None
    """the word or two that a finding without a number gives: "cut off" """
    at: Seconds | None = None
    """file seconds that the finding reaches to, within `within`"""
    within: Seconds = 0.05
    track: Annotated[int, Field(ge=1)] | None = None
    channel: Literal["left", "right"] | None = None

    @property
    def finding(self) -> bool:
        """Whether anything is said of a finding."""
        asked = (self.severity, self.found, self.kind, self.at, self.track, self.channel)
        return any(one is not None for one in asked)


class CaseFile(InputModel):
    """All of a case file."""

    why: Text = Field(examples=["A 100 Hz tone that digs 1 um deeper than the warning allows."])
    disc: Disc | None = None
    """12 inches at 33 1/3 where it is left out"""
    ruleset: Line | None = None
    """NAME, NAME@VERSION, or a file from where the case lies; left out: the newest that serves the disc"""
    limits: Mapping[Line, Mapping[Line, LimitEntry]] = Field(default_factory=dict)
    """check id -> limit key -> limit, put in the place of the ruleset's, or added"""
    delivery: Mapping[str, Any] = Field(default_factory=dict)
    """more lines at the top of the delivery file, or others: catalogue, part, notes ..."""
    sides: tuple[CaseSide, ...] = Field(min_length=1)
    beside: Mapping[Line, Text] = Field(default_factory=dict)
    """file name -> text, of files that lie beside the delivery, such as lists of checksums"""
    expect: Expected = Expected()
