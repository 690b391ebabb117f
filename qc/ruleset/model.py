"""A ruleset file as models. Limits stay as written: its check says what a limit is compared with."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from packaging.specifiers import InvalidSpecifier
from packaging.version import InvalidVersion
from pydantic import AfterValidator, Field, ValidationInfo, WithJsonSchema, WrapValidator, model_validator

from qc.delivery.fields import InputModel, Line, SchemaOne
from qc.delivery.model import Rpm
from qc.model.discs import DiscSize
from qc.model.names import CHECK_ID, RULESET_NAME
from qc.model.parameters import LONGEST
from qc.model.quantity import parse, read
from qc.ruleset.level import LevelEntry
from qc.ruleset.tips import TipsEntry
from qc.ruleset.value_types import Between, OneOf, Sourced
from qc.ruleset.versions import read_specifier, read_version
from qc.text.sanitize import misplaced, shown


def _name(text: str) -> str:
    if RULESET_NAME.fullmatch(text) is None:
        raise ValueError(f'"{shown(text)}" cannot name a ruleset; use letters, digits, ".", "_" and "-"')
    return text


def _version(text: str) -> str:
    try:
        read_version(text)
    except InvalidVersion:
        raise ValueError(f'"{shown(text)}" is not a version; write it like 1.0.0') from None
    return text


def _specifier(text: str) -> str:
    try:
        read_specifier(text)
    except InvalidSpecifier:
        raise ValueError(f'"{shown(text)}" does not say which versions; write it like ">=0.1"') from None
    return text


def _quantity(text: str) -> str:
    parse(text)
    return text


Name = Annotated[Line, AfterValidator(_name)]
WrittenVersion = Annotated[Line, AfterValidator(_version)]
Specifier = Annotated[Line, AfterValidator(_specifier)]
Quantified = Annotated[Line, AfterValidator(_quantity)]


class Serves(InputModel):
    """The disc that the ruleset is for; "33" is 33 1/3 turns a minute."""

    size: DiscSize
    speed: Rpm


class SignalEntry(InputModel):
    """The filters of the programme on its way to the cutter."""

    subsonic: Annotated[Sourced, Between(2.0, 40.0, "Hz", "Hz", "lower, rumble is cut too; higher, the bass is not")]
    top: Annotated[
        Sourced, Between(8.0, 20.0, "kHz", "Hz", "music has treble above 8 kHz, and motion is worked out to 20 kHz")
    ]
    cutter_pole: Annotated[
        Sourced, Between(0.0, 20.0, "us", "s", "a time constant is never negative, and 20 us leave no treble")
    ]
    bass_mono: Annotated[
        Sourced, Between(0.0, 500.0, "Hz", "Hz", "a corner is never negative, and above 500 Hz it is no bass")
    ]


class CutEntry(InputModel):
    """The cut: level, groove and pitch."""

    align: Annotated[
        Sourced, Between(-40.0, 0.0, "dBFS", "dBFS", "the tone lies below full scale, and above the noise")
    ]
    reference_velocity: Annotated[
        Sourced, Between(0.5, 50.0, "cm/s", "m/s", "the tone must move the cutter, and no more than it can")
    ]
    polarity: Annotated[Sourced, OneOf(("normal", "inverted", "worst"))]
    top_width: Annotated[
        Sourced, Between(10.0, 200.0, "um", "m", "a narrower groove holds no stylus, a wider one no music")
    ]
    land: Annotated[Sourced, Between(1.0, 200.0, "um", "m", "without land two turns run into each other")]
    depth: Annotated[Sourced, OneOf(("variable", "fixed"))]
    keep_width: Annotated[Sourced, Between(1.0, 200.0, "um", "m", "a groove without width holds no stylus")]
    nominal_depth: Annotated[
        Sourced, Between(5.0, 300.0, "um", "m", "a groove without depth holds no stylus, and none is cut deeper")
    ]
    preview: Annotated[
        Sourced, Between(0.0, 1.0, "turn", "turn", "a whole turn later the groove beside it is cut", below=True)
    ]
    max_pitch: Annotated[
        Sourced, Between(20.0, 5000.0, "um", "m", "a turn takes a groove and its land, and a lead-out is no music")
    ]

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        width, land, keep, deep, pitch = (
            read(entry.value, "um")
            for entry in (self.top_width, self.land, self.keep_width, self.nominal_depth, self.max_pitch)
        )
        top = ("top_width",)
        if keep > width:
            raise misplaced(f"{keep:g} um is wider than the top width it is kept of", ("keep_width",), top)
        if deep < width / 2.0:
            sentence = f"{deep:g} um is too shallow for a groove {width:g} um wide; it takes {width / 2:g} um"
            raise misplaced(sentence, ("nominal_depth",), top)
        if pitch < width + land:
            sentence = f"{pitch:g} um is less than one groove and its land, {width + land:g} um"
            raise misplaced(sentence, ("max_pitch",), top)
        return self


class DiscEntry(InputModel):
    """The disc."""

    outer: Annotated[Sourced, Between(60.0, 310.0, "mm", "m", "no disc begins further in or out")]
    finishing: Annotated[Sourced, Between(50.0, 150.0, "mm", "m", "no finishing groove lies further in or out")]
    mark_width: Annotated[
        Sourced, Between(0.0, 10.0, "mm", "m", "a mark is never less than nothing, and no wider than one sees")
    ]

    @model_validator(mode="after")
    def _runs_inwards(self) -> Self:
        if read(self.finishing.value, "mm") >= read(self.outer.value, "mm"):
            raise misplaced("the finishing groove must lie inside the outer diameter", ("finishing",), ("outer",))
        return self


class PlaybackEntry(InputModel):
    """The stylus that traces the groove."""

    tip_radius: Annotated[
        Sourced, Between(1.0, 50.0, "um", "m", "no stylus is slimmer, and a rounder one enters no groove")
    ]
    back_angle: Annotated[Sourced, Between(10.0, 80.0, "deg", "rad", "no cutter has back edges beyond")]


class ChainEntry(InputModel):
    """Everything that is assumed, from the file to the stylus."""

    signal: SignalEntry
    cut: CutEntry
    disc: DiscEntry
    playback: PlaybackEntry

    @model_validator(mode="after")
    def _tip_enters_the_groove(self) -> Self:
        """Refuse a round tip that touches the walls of a 90 degree groove, root two of its radius apart, above it."""
        tip, width = read(self.playback.tip_radius.value, "um"), read(self.cut.top_width.value, "um")
        if math.sqrt(2.0) * tip > width:
            touches = f"touches the walls {math.sqrt(2.0) * tip:.1f} um apart"
            sentence = f"a tip of {tip:g} um {touches}, which is wider than the groove, {width:g} um"
            raise misplaced(sentence, ("playback", "tip_radius"), ("cut", "top_width"))
        return self


class LimitEntry(InputModel):
    """One limit of one check, as it is written."""

    warn: Quantified | None = None
    fail: Quantified | None = None
    sets_level: Literal["warn", "fail"] | None = None
    source: Line = Field(examples=["practice"])

    @model_validator(mode="after")
    def _has_values(self) -> Self:
        if self.warn is None and self.fail is None:
            raise misplaced('this limit has no value; give it "warn", "fail" or both')
        if self.sets_level is not None and getattr(self, self.sets_level) is None:
            raise misplaced(
                f'"sets_level" is {self.sets_level}, and this limit has no "{self.sets_level}"',
                ("sets_level",),
            )
        return self


def _value(text: str) -> str:
    if len(text) > LONGEST:
        raise ValueError(f"a value of {len(text)} characters is too long; at most {LONGEST} are read")
    return text


class ParameterEntry(InputModel):
    """One parameter of one check, as it is written."""

    value: Annotated[Line, AfterValidator(_value)]
    source: Line = Field(examples=["practice"])


def _entry(data: Any, _: object, info: ValidationInfo) -> LimitEntry | ParameterEntry:
    """Read an entry by its keys: a parameter has "value", a limit "warn" or "fail"."""
    if isinstance(data, LimitEntry | ParameterEntry):
        return data
    is_parameter = isinstance(data, Mapping) and "value" in data
    if is_parameter and (mixed := [key for key in ("warn", "fail", "sets_level") if key in data]):
        sentence = f'a limit has "warn" and "fail", a parameter has "value"; leave out "{mixed[0]}" or "value"'
        raise misplaced(sentence, (mixed[0],))
    model = ParameterEntry if is_parameter else LimitEntry
    return model.model_validate(data, context=info.context, by_alias=True, by_name=False)


Entry = Annotated[LimitEntry | ParameterEntry, WrapValidator(_entry)]
"""A limit or a parameter of a check, as it is written."""


class MeasureEntry(InputModel):
    """A published measurement with limits in the ruleset alone, without code."""

    measure: Line = Field(examples=["loudness.integrated"])
    at_least: LimitEntry | None = None
    at_most: LimitEntry | None = None
    why: Line = Field(examples=["Quiet sides show surface noise."])
    remedy: Line = Field(examples=["Ask for a louder copy."])
    title: Line | None = None

    @property
    def limits(self) -> Mapping[str, LimitEntry]:
        """The limits that are there, by key."""
        both = {"at_least": self.at_least, "at_most": self.at_most}
        return {key: limit for key, limit in both.items() if limit is not None}

    @model_validator(mode="after")
    def _has_a_limit(self) -> Self:
        if not self.limits:
            raise misplaced('this measure has no limit; give it "at_least", "at_most" or both')
        return self


class RulesetHead(InputModel):
    """The part of a ruleset file that is about the file itself, and what it may leave out."""

    schema_: SchemaOne = Field(alias="schema", examples=["1"])
    name: Name = Field(examples=["disc-12in-33"])
    version: WrittenVersion = Field(examples=["1.0.0"])
    abstract: Annotated[Literal["true"], WithJsonSchema({"const": True})] | None = None
    """true for a parent that is only there to be extended: it is never chosen, and may leave parts of the chain out"""
    extends: Line | None = Field(default=None, examples=["disc-12in-33@1.0.0"])
    """NAME@VERSION; this file is merged into that one"""
    needs_tool: Specifier | None = Field(default=None, examples=['">=0.1"'])
    requires: Mapping[str, Specifier] = Field(default_factory=dict)
    """distribution -> versions"""
    level: LevelEntry | None = None
    """the policy for the recommended level"""
    tips: TipsEntry | None = None
    """replay tips by name, for each of which reports state the recommended level"""
    off: Mapping[str, Line] = Field(default_factory=dict)
    """check id -> reason"""
    measures: Mapping[str, MeasureEntry] = Field(default_factory=dict)
    """check id -> measurement and limits"""


class AbstractFile(RulesetHead):
    """A ruleset that is only there to be extended; the names in its chain are checked in what extends it."""

    serves: Serves | None = None
    chain: Mapping[str, Mapping[str, Sourced]] = Field(default_factory=dict)
    limits: Mapping[str, Mapping[str, Entry]] = Field(default_factory=dict)


class RulesetFile(RulesetHead):
    """A ruleset as it is written, with all that it extends."""

    serves: Serves = Field(examples=["{size: 12in, speed: 33}"])
    chain: ChainEntry
    limits: Mapping[str, Mapping[str, Entry]]
    """check id -> key -> limit or parameter"""

    @model_validator(mode="after")
    def _measures_are_named_as_checks_are(self) -> Self:
        for name in self.measures:
            if CHECK_ID.fullmatch(name) is None:
                sentence = f'"{shown(name)}" cannot name what is found; write it like house.quiet-side'
                raise misplaced(sentence, ("measures", name))
            if name in self.limits:
                sentence = f'"{shown(name)}" has limits of its own; give this measure another name, or set those'
                raise misplaced(sentence, ("measures", name), ("limits", name))
        return self
