"""The report as models: what was sent, what was measured, how it was judged. No numpy, no judging in here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, Self

from pydantic import Field

from qc.model.quantity import At, Model, Op, Polarity, Quantity, Sparse

Outcome = Literal["pass", "warn", "fail", "waived", "not_applicable", "not_measured", "error"]
Scope = Literal["side", "delivery", "series", "pressing"]
Severity = Literal["warn", "fail"]
Verdict = Literal["pass", "warn", "fail", "error"]
Basis = Literal["requested", "release", "recommended", "clean", "given"]
"""Which level a side is judged at: its `cut_level`, its disc's release level, its own, or one that `--level` gives"""
HowMeasured = Literal["heard", "partly stored", "stored"]
"""Whether a run heard a side, or took what an earlier run had heard"""
GivenIn = Literal["delivery", "file"]
"""Where a waiver is written: by the sender in the delivery, or in the file of `--waivers`"""


class Limit(Model):
    """One limit as bound to a check: values in `unit`, where they come from, and where they are written."""

    warn: float | None = None
    fail: float | None = None
    unit: str
    source: str
    sets_level: Severity | None = None
    origin: str = ""


class HeldLimit(Model):
    """A limit of the ruleset and what it is held against; kept by CHECK/LIMIT, as the levels are."""

    measure: str
    op: Op
    warn: float | None = None
    fail: float | None = None
    unit: str
    source: str
    sets_level: Severity | None = None
    origin: str = ""


class Location(Model):
    """Where a finding lies: on the side (file seconds, track, radius) or in the delivery file (field, line)."""

    side: str = ""
    track: int | None = None
    channel: str | None = None
    start_s: float | None = None
    end_s: float | None = None
    radius_mm: float | None = None
    field: str | None = None
    line: int | None = None


class Stretch(Model):
    """From where to where a limit is not kept, in file seconds."""

    start_s: float
    end_s: float


class Remedy(Model):
    """One way to mend a finding, in numbers by name: "corner", "cut", "level", and where it is to be done."""

    kind: str
    says: str = ""
    """what to do, in a sentence or two; the remedy of the finding begins with it"""
    numbers: Mapping[str, Quantity] = Field(default_factory=dict)
    stretches: tuple[Stretch, ...] = ()


class Finding(Model):
    """One thing to look at or to mend, with what was measured against which limit, and what to do."""

    check: str
    severity: Severity
    message: str
    measured: Quantity | str
    measure: str = ""
    """name of the measurement that a limit was held against"""
    limit: Limit | None
    margin: float | None
    location: Location
    stretch: Stretch | None = None
    """all of the event whose worst sector or window the location is"""
    remedy: str
    remedies: tuple[Remedy, ...] = ()
    """the remedy's numbers, where it was worked out from a second look"""
    sources: tuple[str, ...] = ()
    fingerprint: str
    waived_by: str | None = None
    """key of the waiver that covers it"""
    baseline: Literal["new", "unchanged"] | None = None
    """whether the report it was compared with had it too; None where there was none"""


class CheckResult(Model):
    """What became of one check on one side (`side` is null for delivery scope)."""

    check: str
    scope: Scope
    side: str | None
    outcome: Outcome
    measured: Mapping[str, Quantity] = Field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    findings_omitted: int = 0
    findings_waived: int = 0
    """those that somebody answers for, omitted ones too"""
    warnings_gone_at_clean: int = 0
    """warnings of limits that set the level and warn nowhere at the clean level: omitted ones too, waived ones not"""
    reason: str = ""

    @property
    def left_unwaived(self) -> int:
        """How many of those omitted nobody answers for."""
        kept = sum(finding.waived_by is not None for finding in self.findings)
        return self.findings_omitted - (self.findings_waived - kept)


OwnMd5 = Literal["agrees", "disagrees", "not stated"]


class TrackFile(Model):
    """One file of a side that came as one file a track; `start_s` is where it begins on the side."""

    track: int
    file: str
    sha256: str | None = None
    coding: str | None = None
    duration_s: float | None = None
    start_s: float | None = None
    checked: tuple[str, ...] = ()
    own_md5: OwnMd5 | None = None


class AudioFacts(Model):
    """The audio as it was received, joined where it came as one file a track; None where it could not be told."""

    file: str
    """of a joined side: the names in order, with " + " between them"""
    sha256: str | None = None
    format: str | None = None
    coding: str | None = None
    sample_rate: int | None = None
    channels: int | None = None
    frames: int | None = None
    duration_s: float | None = None
    checked: tuple[str, ...] = ()
    """digests that it was held against, and who states them: "md5 of MD5SUMS" """
    own_md5: OwnMd5 | None = None
    """whether the MD5 that a FLAC file states of its samples is theirs; None for other files, and where nobody decoded
    them"""
    files: tuple[TrackFile, ...] = ()

    @property
    def without_md5(self) -> tuple[str, ...]:
        """The FLAC files that state no MD5 of their samples."""
        files: tuple[AudioFacts | TrackFile, ...] = (self, *self.files)
        return tuple(one.file for one in files if one.own_md5 == "not stated")


class LevelAt(Model):
    """The highest cut level that one limit allows by itself, and where it bites."""

    level: Quantity
    at: At | None = None


class BudgetLine(Model):
    """A limit that sets the level: what it allows by itself, where it bites, and how far above the recommended one."""

    limit: str
    level: Quantity
    at: At | None = None
    above: Quantity


class Passage(Model):
    """A passage to be tamed, in file seconds; `track` is that of its start."""

    start_s: float
    end_s: float
    track: int | None = None


class Repair(Model):
    """The level a side takes once passages are tamed, the worst first: what that wins, and which limit rules then."""

    passages: tuple[Passage, ...]
    recommended: Quantity
    wins: Quantity
    ruling: str | None = None


class Budget(Model):
    """What each limit allows, the tightest first; which one rules, what lifting it would win, what repairs are worth.

    `lifted` is the level if the limit that rules were not there, and `then` the limit that would rule.
    """

    limits: tuple[BudgetLine, ...]
    ruling: str | None = None
    lifted: Quantity
    then: str | None = None
    repairs: tuple[Repair, ...] = ()


class Levels(Model):
    """Cut levels of a side in dB: what it is judged at, what was asked for, what fits, what keeps every warning off.

    `edge` is the highest level at which every limit that sets the level holds (None in reports of earlier versions);
    by the `policy` of the ruleset the recommended level is that, or a margin below it. `fails_at_recommended` names
    the limits that fail there because the ruleset does not let them set the level, `clean_of` those that set the
    level and warn nowhere at the clean level.
    """

    judged: Quantity
    basis: Basis | None = None
    """which level `judged` is; None in reports from before sides of a disc were judged at one level"""
    requested: Quantity | None = None
    """what `judged` is held to be no higher than recommended for: `cut_level`, or what `--level` comes to"""
    declared: Quantity | None = None
    """the `cut_level` of the delivery file, whatever the side is judged at"""
    release: Quantity | None = None
    """the lowest recommended level among the disc's free sides; None where each side is judged by itself"""
    recommended: Quantity
    clean: Quantity
    edge: Quantity | None = None
    policy: Literal["edge", "margin"] = "edge"
    ruling: str | None = None
    fails_at_recommended: tuple[str, ...] = ()
    clean_of: tuple[str, ...] = ()
    by_limit: Mapping[str, LevelAt] = Field(default_factory=dict)
    budget: Budget | None = None
    fixed_at_recommended: tuple[str, ...] | None = None
    """checks that fail at the judged level and would not at the recommended one; None where that is no lower"""


class TrackPlace(Model):
    """Where a track lies on the disc, as cut at the judged level."""

    number: int
    title: str = ""
    start_s: float
    end_s: float
    start_radius_mm: float
    end_radius_mm: float


class Geometry(Model):
    """The side as cut at the judged level, for the polarity that travels further."""

    size: str
    speed: str
    rpm: float
    sectors_a_turn: int
    outer_diameter_mm: float
    finishing_diameter_mm: float
    span_start_s: float
    span_end_s: float
    travel_mm: float
    travel_least_mm: float
    last_diameter_mm: float
    mean_pitch_um: float
    polarity: Polarity
    overlaps: int = 0
    tracks: tuple[TrackPlace, ...] = ()


class PrintThrough(Model):
    """A loud turn beside a quiet one with little land between: where each is, and how far they lie apart in dB.

    Information: how much of it is heard depends on the lacquer and the stylus.
    """

    loud: At
    quiet: At
    land: Quantity
    apart: Quantity


class LineupToneFacts(Model):
    """A steady sine before the programme, to line a machine up by; it is not cut. Level: its peak, louder channel."""

    start_s: float
    end_s: float
    frequency_hz: float
    level_dbfs: float


class SideReport(Model):
    """One side: the file, the groove, the numbers, the levels."""

    id: str
    audio: AudioFacts
    line: int | None = None
    """of the delivery file: where it names the audio"""
    geometry: Geometry | None = None
    measurements: Mapping[str, Quantity] = Field(default_factory=dict)
    levels: Levels | None = None
    print_through: tuple[PrintThrough, ...] = ()
    lineup: tuple[LineupToneFacts, ...] = ()
    """line-up tones at the head, in the order of time"""
    declared: Mapping[str, Any] = Field(default_factory=dict)
    passes: int = 0
    second_look_s: float = 0.0
    """seconds read again after judging, for remedies"""


class DiscLevel(Model):
    """The sides of one disc are cut alike: the lower recommendation, and what each side gives away by it, in dB."""

    sides: tuple[str, ...]
    """the free sides that were measured; a lone one of them where the disc has another that does not count"""
    release: Quantity
    ruling: str
    """the side whose recommendation it is"""
    gives_away: Mapping[str, Quantity]
    requested: tuple[str, ...] = ()
    """sides that keep their own `cut_level` and lower no other"""
    not_measured: tuple[str, ...] = ()
    """free sides that are left out, since they could not be measured"""
    no_level: tuple[str, ...] = ()
    """free sides that are left out, since they fit at no level"""
    not_judged: tuple[str, ...] = ()
    """sides measured for the release level alone, since others were asked for; the report has no results of them"""


class ExtendedFacts(Model):
    """A ruleset that the one that judged extends, by the digest that its own reports name."""

    name: str
    version: str
    sha256: str


class RulesetFacts(Model):
    """Which ruleset judged: exact version, its digest, the chain it assumed, and the limits, with sources.

    The digest is that of the file; of a ruleset that extends another one, that of two lines, the digest of its own
    file and the digest of what it extends.
    """

    name: str
    version: str
    sha256: str
    extends: tuple[ExtendedFacts, ...] = ()
    """nearest first"""
    chain: Mapping[str, Any] = Field(default_factory=dict)
    level: Mapping[str, Mapping[str, str]] = Field(default_factory=dict)
    """"policy", "margin" -> {"value": ..., "source": ...}, as far as the ruleset states them"""
    limits: Mapping[str, HeldLimit] = Field(default_factory=dict)


class DeliveryFacts(Model):
    """The delivery file as it was read."""

    file: str
    sha256: str
    title: str
    catalogue: str = ""
    disc: Mapping[str, str] = Field(default_factory=dict)
    notes: str = ""


class WaiverFacts(Model):
    """Somebody answers for what a check finds in a place; no track, no time: all of the side; no side: everywhere."""

    key: str
    """where it is written, "delivery.yaml:31" """
    check: str
    side: str | None = None
    tracks: tuple[int, ...] = ()
    from_s: float | None = None
    to_s: float | None = None
    reason: str
    owner: str
    expires: str | None = None
    """the last day it holds, 2026-12-31"""
    state: Literal["used", "unused", "expired", "not_counted"]
    """not_counted: given in the delivery, where only waivers of `--waivers` count"""
    findings: int = 0
    """findings that it covers; of an expired one and one that is not counted, those that remain all the same"""
    given_in: GivenIn | None = None
    """None in reports of versions that did not say it"""


class LeftOut(Model):
    """How many findings of a check on a side each of two reports left out; those were not compared."""

    check: str
    side: str | None
    then: int
    now: int


class LevelThen(Model):
    """A side that an earlier report judged at another cut level, in dB."""

    side: str
    then: float
    now: float


class BaselineFacts(Model):
    """An earlier report that this one was compared with, and what it had that is not found any more."""

    file: str
    started: str | None = None
    """when its delivery was judged, where it says so"""
    tool: str
    ruleset: str
    """disc-12in-33@1.1.0"""
    delivery_sha256: str
    new: int
    unchanged: int
    gone: tuple[Finding, ...] = ()
    """what it had, and was mended"""
    not_judged: tuple[Finding, ...] = ()
    """what it had, of checks that judged nothing this time"""
    unsure: tuple[Finding, ...] = ()
    """what it had, and may be among what this report left out or could not judge to its end"""
    left_out: tuple[LeftOut, ...] = ()
    other_levels: tuple[LevelThen, ...] = ()
    """sides that it judged at another level"""
    always: tuple[str, ...] = ()
    """checks that found audio missing or wrong: no earlier report excuses what they find"""


class PluginFailure(Sparse):
    """A plugin that did not load, or broke while it worked; the run ends with exit code 3."""

    plugin: str
    stage: str
    message: str
    side: str | None = None


class Origin(Model):
    """How a run came by the numbers of a side."""

    how: HowMeasured
    measured_on: str | None = None
    """the first day on which any stored number of the side was measured, "2026-11-30" (UTC); None where none was"""


class Run(Model):
    """What may differ between two runs over the same delivery, and nothing else."""

    started: str
    seconds: float
    workers: int
    sides: Mapping[str, HowMeasured] = Field(default_factory=dict)
    """of every side that was measured: whether this run heard it, or took what an earlier one had heard"""
    measured_on: Mapping[str, str] = Field(default_factory=dict)
    """of every side with stored numbers: the first day on which any of them was measured, "2026-11-30" (UTC)"""

    @classmethod
    def of(cls, started: str, seconds: float, workers: int, origins: Mapping[str, Origin]) -> Self:
        """Build it from how each side was measured, by the side's id."""
        days = {side: origin.measured_on for side, origin in origins.items() if origin.measured_on is not None}
        sides = {side: origin.how for side, origin in origins.items()}
        return cls(started=started, seconds=seconds, workers=workers, sides=sides, measured_on=days)


class Report(Model):
    """A delivery judged."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    plugins: tuple[str, ...]
    ruleset: RulesetFacts
    delivery: DeliveryFacts
    level: str | None = None
    """what `--level` asked for, "-6 dB"; None where each side was judged at its requested or release level"""
    sides: tuple[SideReport, ...]
    discs: tuple[DiscLevel, ...] = ()
    results: tuple[CheckResult, ...]
    waivers: tuple[WaiverFacts, ...] = ()
    baseline: BaselineFacts | None = None
    plugin_failures: tuple[PluginFailure, ...] = ()
    verdict: Verdict
    cautions: tuple[str, ...] = ()
    run: Run | None = None
