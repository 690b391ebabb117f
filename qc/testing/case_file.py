"""Models of a case file: a synthetic delivery, and the expected result of one check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, TypeAdapter, model_validator

from qc.delivery.fields import Day, InputModel, Line, SideId, Text
from qc.delivery.model import Disc
from qc.delivery.waivers import SidedWaiver
from qc.model.errors import SidegateError
from qc.ruleset.model import Entry
from qc.testing.fault_steps import FileFaults
from qc.testing.steps import Step
from qc.testing.written import Number, Rate, Seconds
from qc.text.sanitize import misplaced

Coding = Literal["8 bit", "16 bit", "24 bit", "32 bit", "32 bit float", "64 bit float"]
Audio = Annotated[tuple[Step, ...], Field(min_length=1)]
Count = Annotated[int, Field(ge=0)]
Tag = Literal["title", "album", "comment", "tracknumber", "date"]
"""Tags that libsndfile writes into WAV, AIFF and FLAC files, each where the container has it."""

_ENTRY: TypeAdapter[Entry] = TypeAdapter(Entry)


class CaseError(SidegateError):
    """An invalid case file, or a folder without any."""

    exit_code = 2


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
    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9 _.\-]{1,100}$", examples=["QH-001_A.wav"])] | None = None
    """name of the file, by default "side-a.wav" with the suffix of its container"""
    tags: Mapping[Tag, Line] = Field(default_factory=dict)
    """texts that the file says of itself: title, album, comment, tracknumber, date"""
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

    `severity`, `found`, `kind`, `at`, `track`, `channel`, `field` and `remedy` describe one finding; some finding must
    match them all.
    """

    side: SideId | None = None
    """the side that the expectations are about, by default the first; of a check of the whole delivery the side of its
    findings, by default any"""
    findings: Count | None = None
    """number of findings, waived ones included"""
    waived: Count | None = None
    """number of findings that a waiver covers"""
    new: Count | None = None
    """number of findings that the baseline does not have"""
    fixed: Count | None = None
    """number of findings of the baseline that were fixed"""
    measured: Mapping[str, Number] = Field(default_factory=dict)
    """measurement of the side -> expected value"""
    says: Text | None = None
    """part of the reason of the outcome, of a note of the check, or of the message of a finding"""
    remedy: Text | None = None
    """part of the remedy of a finding"""
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
    field: Line | None = None
    """place in the delivery file that the finding is about, as reports name it"""

    @property
    def finding(self) -> bool:
        """Whether a finding is expected."""
        expected = (
            self.severity, self.found, self.kind, self.at, self.track, self.channel, self.field, self.remedy,
        )  # fmt: skip
        return any(value is not None for value in expected)


class EarlierDelivery(InputModel):
    """An earlier delivery, judged first by the same ruleset; its report is the baseline of the case."""

    delivery: Mapping[str, Any] = Field(default_factory=dict)
    """further or replaced top-level keys of its delivery file"""
    sides: tuple[CaseSide, ...] = Field(min_length=1)
    beside: Mapping[Line, Text] = Field(default_factory=dict)
    """file name -> text, of further files in its folder"""


class CaseFile(InputModel):
    """The contents of a case file."""

    why: Text = Field(examples=["A 100 Hz tone that digs 1 um deeper than the warning allows."])
    disc: Disc | None = None
    """by default the one that the ruleset serves, or 12 inches at 33 1/3 where no ruleset is named"""
    ruleset: Line | None = None
    """NAME, NAME@VERSION, or a path relative to the case file; by default a ruleset file next to the folder of cases,
    else the newest ruleset for the disc"""
    limits: Mapping[Line, Mapping[Line, Entry]] = Field(default_factory=dict)
    """check id, or that of a measure of the ruleset -> key -> limit or parameter, which replaces that of the ruleset or
    is added"""
    waivers: tuple[SidedWaiver, ...] = Field((), min_length=1)
    """entries of a file of waivers, as for --waivers"""
    today: Day | None = None
    """the day of the run, on which waivers must be valid; needed where one expires"""
    baseline: EarlierDelivery | None = None
    delivery: Mapping[str, Any] = Field(default_factory=dict)
    """further or replaced top-level keys of the delivery file: catalogue, part, notes ..."""
    sides: tuple[CaseSide, ...] = Field(min_length=1)
    beside: Mapping[Line, Text] = Field(default_factory=dict)
    """file name -> text, of further files in the folder of the delivery, such as lists of checksums"""
    expect: Expected = Expected()

    @model_validator(mode="after")
    def _has_a_day(self) -> Self:
        expiring = [index for index, waiver in enumerate(self.waivers) if waiver.expires is not None]
        if expiring and self.today is None:
            raise misplaced('this waiver expires; add the day of the run as "today"', ("waivers", expiring[0]))
        return self

    @model_validator(mode="after")
    def _compares_with_a_baseline(self) -> Self:
        for key in ("new", "fixed"):
            if getattr(self.expect, key) is not None and self.baseline is None:
                raise misplaced(f'"{key}" compares with an earlier delivery; add "baseline"', ("expect", key))
        return self


@dataclass(frozen=True)
class Case:
    """A case file with its path, check and outcome."""

    path: Path
    check: str
    """id of the check, from the name of the folder"""
    outcome: str
    """expected outcome, as in the report: "not_applicable" """
    file: CaseFile
    """an empty one where there is an `error`"""
    error: CaseError | None = None
    """why the file cannot be used: what `run` and `check` raise"""

    def __str__(self) -> str:
        return f"{self.check}/{self.path.stem}"

    def with_limits(self, limits: Mapping[str, Mapping[str, Any]]) -> Case:
        """Return the case with other limits and parameters, check id -> key -> {"warn": "2 s", "source": "..."}."""
        more = {
            check: {key: _ENTRY.validate_python(entry) for key, entry in own.items()} for check, own in limits.items()
        }
        return replace(self, file=self.file.model_copy(update={"limits": {**self.file.limits, **more}}))
