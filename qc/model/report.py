"""Models of the report: the delivery, the measurements and the outcomes. Imports no numpy and judges nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, Self

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer

from qc.model.quantity import At, Model, Op, Polarity, Quantity, Sparse, without_empty

Outcome = Literal["pass", "warn", "fail", "waived", "not_applicable", "not_measured", "error"]
Scope = Literal["side", "delivery", "series", "pressing"]
Severity = Literal["warn", "fail"]
Verdict = Literal["pass", "warn", "fail", "error"]
Subject = Literal["programme", "groove", "paperwork"]
"""Subject of a check: the sound and its file, its groove, or the documents of the delivery."""
SubjectState = Literal["pass", "warn", "fail", "error", "not_measured"]
Basis = Literal["requested", "release", "recommended", "clean", "given"]
"""The level a side is judged at: its `cut_level`, its disc's release level, its own recommended or clean level, or
that of `--level`"""
HowMeasured = Literal["heard", "partly stored", "stored"]
"""Whether this run measured a side or read the stored measurements of an earlier run"""
GivenIn = Literal["delivery", "file"]
"""The file a waiver or approval is written in: one of the delivery, by the sender, or the file named by an option"""


class Limit(Model):
    """A limit bound to a check: values in `unit`, the key of their source, and the file and line of the entry."""

    warn: float | None = None
    fail: float | None = None
    unit: str
    source: str
    sets_level: Severity | None = None
    origin: str = ""


class HeldLimit(Model):
    """A limit of the ruleset with the measurement it applies to; reports list them by CHECK/LIMIT."""

    measure: str
    of: str = ""
    """the measurement in the words of its check, "the least land"; empty in reports that did not state it"""
    op: Op
    warn: float | None = None
    fail: float | None = None
    unit: str
    source: str
    sets_level: Severity | None = None
    origin: str = ""


class ParameterFacts(Sparse):
    """A parameter of a check as it was set: a text, a switch or a number in `unit`, its source, file and line.

    A parameter that the ruleset leaves out has the value of the check itself, and no file and line.
    """

    value: bool | int | float | str
    unit: str | None = None
    source: str
    origin: str = ""


class Location(Model):
    """The place of a finding: on the side (file seconds, track, radius) or in the delivery file (field, line)."""

    side: str = ""
    track: int | None = None
    channel: str | None = None
    start_s: float | None = None
    end_s: float | None = None
    radius_mm: float | None = None
    field: str | None = None
    line: int | None = None


class Stretch(Model):
    """Start and end of a stretch in which a limit is not kept, in file seconds."""

    start_s: float
    end_s: float


class Remedy(Model):
    """One way to fix a finding: numbers by name ("corner", "cut", "level") and the stretches to apply it to."""

    kind: str
    says: str = ""
    """instruction, a sentence or two; the remedy of the finding begins with it"""
    numbers: Mapping[str, Quantity] = Field(default_factory=dict)
    stretches: tuple[Stretch, ...] = ()


class Finding(Model):
    """One problem of a delivery: the measured value, the limit it was compared with, and the remedy."""

    check: str
    severity: Severity
    message: str
    measured: Quantity | str
    measure: str = ""
    """name of the measurement that was compared with the limit"""
    limit: Limit | None
    margin: float | None
    location: Location
    stretch: Stretch | None = None
    """the whole event; the location is its worst sector or window"""
    remedy: str
    remedies: tuple[Remedy, ...] = ()
    """the numbers of the remedy, where it was computed from a second look at the audio"""
    sources: tuple[str, ...] = ()
    fingerprint: str
    waived_by: str | None = None
    """key of the waiver that covers it"""
    baseline: Literal["new", "unchanged"] | None = None
    """whether the baseline report has it too; None without a baseline"""


class CheckResult(Model):
    """The outcome of one check on one side; `side` is null for checks of the whole delivery."""

    check: str
    scope: Scope
    side: str | None
    outcome: Outcome
    measured: Mapping[str, Quantity] = Field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    findings_omitted: int = 0
    findings_waived: int = 0
    """findings covered by a waiver, omitted ones included"""
    warnings_gone_at_clean: int = 0
    """warnings of limits that set the level and warn nowhere at the clean level; counts omitted, not waived ones"""
    reason: str = ""

    @property
    def left_unwaived(self) -> int:
        """The number of omitted findings that no waiver covers."""
        kept = sum(finding.waived_by is not None for finding in self.findings)
        return self.findings_omitted - (self.findings_waived - kept)


OwnMd5 = Literal["agrees", "disagrees", "not stated"]


class TrackFile(Model):
    """One file of a side delivered as one file a track; `start_s` is its start on the joined side."""

    track: int
    file: str
    sha256: str | None = None
    coding: str | None = None
    duration_s: float | None = None
    start_s: float | None = None
    checked: tuple[str, ...] = ()
    own_md5: OwnMd5 | None = None


class AudioFacts(Model):
    """The received audio of a side, joined from one file a track where needed; None where the value is unknown."""

    file: str
    """name of the file; of a joined side, the names in order with " + " between them"""
    sha256: str | None = None
    format: str | None = None
    coding: str | None = None
    sample_rate: int | None = None
    channels: int | None = None
    frames: int | None = None
    duration_s: float | None = None
    checked: tuple[str, ...] = ()
    """digests that were verified, each with its origin: "md5 of MD5SUMS" """
    own_md5: OwnMd5 | None = None
    """whether the samples of a FLAC file have the MD5 that it states; None for other files, and where the samples were
    not decoded"""
    files: tuple[TrackFile, ...] = ()

    @property
    def without_md5(self) -> tuple[str, ...]:
        """The FLAC files that state no MD5 of their samples."""
        files: tuple[AudioFacts | TrackFile, ...] = (self, *self.files)
        return tuple(facts.file for facts in files if facts.own_md5 == "not stated")


class LevelAt(Model):
    """The highest cut level that one limit alone allows, and the place where it is reached."""

    level: Quantity
    at: At | None = None


class BudgetLine(Model):
    """A limit that sets the level: the highest level it alone allows, where, and how far above the recommended one."""

    limit: str
    level: Quantity
    at: At | None = None
    above: Quantity


class Passage(Model):
    """A passage to be reduced, in file seconds; `track` is the track of its start."""

    start_s: float
    end_s: float
    track: int | None = None


class Repair(Model):
    """The level of a side after the worst passages are reduced, its gain, and the limit that rules then.

    `passages` are in order of severity, the worst first.
    """

    passages: tuple[Passage, ...]
    recommended: Quantity
    wins: Quantity
    ruling: str | None = None


class Budget(Model):
    """The level each limit allows, the lowest first, with the ruling limit and the gain of repairs.

    `lifted` is the level without the ruling limit, and `then` the limit that would rule instead.
    """

    limits: tuple[BudgetLine, ...]
    ruling: str | None = None
    lifted: Quantity
    then: str | None = None
    repairs: tuple[Repair, ...] = ()


class TipLevel(Model):
    """The recommended level of a side if another tip traced it, the limit that rules there, and where it would end.

    `radius` is that along the groove. `own` marks the tip of the chain, which the side is judged by.
    """

    tip: str
    """name in the ruleset, "line contact" """
    size: str
    """ "18 um", or "8 x 18 um" along the groove and across it"""
    radius: Quantity
    own: bool = False
    recommended: Quantity | None = None
    ruling: str | None = None
    last_diameter: Quantity | None = None
    reason: str = ""
    """why there is no level"""


class Levels(Model):
    """Cut levels of a side in dB: judged, requested, recommended, and the clean level without any warning.

    `edge` is the highest level at which every limit that sets the level is kept (None in reports of earlier
    versions); by the `policy` of the ruleset the recommended level is the edge or a margin below it.
    `fails_at_recommended` names the limits that fail there since the ruleset does not let them set the level,
    `clean_of` those that set the level and warn nowhere at the clean level.
    """

    judged: Quantity
    basis: Basis | None = None
    """kind of the judged level; None in reports of versions that judged each side by itself"""
    requested: Quantity | None = None
    """the requested level, which must be at most the recommended one: `cut_level`, or the level of `--level`"""
    declared: Quantity | None = None
    """the `cut_level` of the delivery file, also where the side is judged at another level"""
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
    by_tip: tuple[TipLevel, ...] = ()
    """for each tip that the ruleset names; not in the JSON where it names none"""
    budget: Budget | None = None
    fixed_at_recommended: tuple[str, ...] | None = None
    """checks that fail at the judged level and not at the recommended one; None where that is no lower"""

    @model_serializer(mode="wrap")
    def _leave_out_no_tips(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return without_empty(handler(self), "by_tip")


class TrackPlace(Model):
    """The place of a track on the disc, cut at the judged level."""

    number: int
    title: str = ""
    start_s: float
    end_s: float
    start_radius_mm: float
    end_radius_mm: float


class Geometry(Model):
    """The groove of a side at the judged level, for the polarity that needs more room."""

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
    """A loud and a quiet turn with little land between them: their places, and their difference in dB.

    For information only: how audible it is depends on the lacquer and the stylus.
    """

    loud: At
    quiet: At
    land: Quantity
    apart: Quantity


class LineupToneFacts(Model):
    """A steady sine before the programme, for aligning machines; it is not cut. Level: peak of the louder channel."""

    start_s: float
    end_s: float
    frequency_hz: float
    level_dbfs: float


class SideReport(Model):
    """The report of one side: its audio file, groove, measurements and levels."""

    id: str
    audio: AudioFacts
    line: int | None = None
    """line of the delivery file that names the audio"""
    geometry: Geometry | None = None
    measurements: Mapping[str, Quantity] = Field(default_factory=dict)
    levels: Levels | None = None
    print_through: tuple[PrintThrough, ...] = ()
    lineup: tuple[LineupToneFacts, ...] = ()
    """line-up tones before the programme, in order of time"""
    declared: Mapping[str, Any] = Field(default_factory=dict)
    passes: int = 0
    second_look_s: float = 0.0
    """seconds of audio read again after judging, for remedies"""


class DiscLevel(Model):
    """The common level of the sides of one disc: the lowest recommended one, and the loss of each side by it in dB."""

    sides: tuple[str, ...]
    """the free sides that decide the level; only one where the other side of the disc does not count"""
    release: Quantity
    ruling: str
    """the side with the lowest recommended level"""
    gives_away: Mapping[str, Quantity]
    requested: tuple[str, ...] = ()
    """sides that keep their own `cut_level`, which does not count for the others"""
    not_measured: tuple[str, ...] = ()
    """free sides that do not count, since they could not be measured"""
    no_level: tuple[str, ...] = ()
    """free sides that do not count, since they fit at no level"""
    not_judged: tuple[str, ...] = ()
    """sides measured for the release level only, since other sides were requested; the report has no results of them"""


class ExtendedFacts(Model):
    """A ruleset that the judging one extends, with the digest that its own reports state."""

    name: str
    version: str
    sha256: str


class RulesetFacts(Model):
    """The ruleset that judged: exact version, digest, assumed chain, and limits with their sources.

    The digest is that of the file. A ruleset that extends another has the digest of two lines: the digest of its own
    file and that of the ruleset it extends.
    """

    name: str
    version: str
    sha256: str
    extends: tuple[ExtendedFacts, ...] = ()
    """nearest first"""
    chain: Mapping[str, Any] = Field(default_factory=dict)
    level: Mapping[str, Mapping[str, str]] = Field(default_factory=dict)
    """"policy", "margin" -> {"value": ..., "source": ...}, where the ruleset states them"""
    tips: Mapping[str, Mapping[str, str]] = Field(default_factory=dict)
    """name of a replay tip -> {"value": "8 x 18 um", "source": ...}; not in the JSON where the ruleset names none"""
    limits: Mapping[str, HeldLimit] = Field(default_factory=dict)
    parameters: Mapping[str, ParameterFacts] = Field(default_factory=dict)
    """CHECK/PARAMETER -> its value; not in the JSON where no check has any"""

    @model_serializer(mode="wrap")
    def _leave_out_empty(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return without_empty(without_empty(handler(self), "tips"), "parameters")


class DeliveryFacts(Model):
    """The facts of the delivery file."""

    file: str
    sha256: str
    title: str
    catalogue: str = ""
    disc: Mapping[str, str] = Field(default_factory=dict)
    notes: str = ""


class WaiverFacts(Model):
    """A waiver and its use. Without tracks and times it covers the whole side, without a side the whole delivery."""

    key: str
    """file and line it is written in, "delivery.yaml:31" """
    check: str
    side: str | None = None
    tracks: tuple[int, ...] = ()
    from_s: float | None = None
    to_s: float | None = None
    reason: str
    owner: str
    expires: str | None = None
    """last day of its validity, 2026-12-31"""
    state: Literal["used", "unused", "expired", "not_counted"]
    """not_counted: written in the delivery, in a run that counts only the waivers of `--waivers`"""
    findings: int = 0
    """number of findings it covers; of an expired or uncounted waiver, of those it would cover, which remain"""
    given_in: GivenIn | None = None
    """None in reports of versions without this field"""


class DespiteFacts(Model):
    """A check that failed when a delivery was approved, and the reason why it was accepted."""

    check: str
    reason: str


class SubjectVerdict(Model):
    """The outcome of all checks of one subject, with the number that fail, warn or are waived, each side by itself."""

    subject: Subject
    verdict: SubjectState
    """"not_measured" where none of them could judge"""
    fail: int = 0
    warn: int = 0
    waived: int = 0


class ApprovalFacts(Model):
    """An earlier approval, compared with what is judged now. It changes no outcome."""

    key: str
    """file and line it is written in, "approvals.yaml:3" """
    given_in: GivenIn
    """"delivery": in the delivery's own folder, where its sender may have written it"""
    by: str
    on: str
    """2026-11-30"""
    verdict: Verdict
    ruleset: str
    """name and version"""
    level: str | None = None
    """the value of `--level` then; None without one"""
    levels: Mapping[str, str] = Field(default_factory=dict)
    """side -> the level it was judged at, "-6.0 dB" """
    despite: tuple[DespiteFacts, ...] = ()
    note: str = ""
    changed: tuple[str, ...] = ()
    """what is no longer as it was approved: "the audio of side A", "the delivery file", "the ruleset" """
    not_compared: tuple[str, ...] = ()
    """sides that this report does not judge, whose audio was not compared"""


class LeftOut(Model):
    """The numbers of findings of a check on a side that each of two reports omitted, and that were not compared."""

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
    """The baseline report that this one was compared with, and its findings that are not found any more."""

    file: str
    started: str | None = None
    """time at which it judged, where it states that"""
    tool: str
    ruleset: str
    """disc-12in-33@1.1.0"""
    delivery_sha256: str
    new: int
    unchanged: int
    gone: tuple[Finding, ...] = ()
    """its findings that were fixed"""
    not_judged: tuple[Finding, ...] = ()
    """its findings of checks that judged nothing this time"""
    unsure: tuple[Finding, ...] = ()
    """its findings that may be among those this report omitted or could not judge completely"""
    left_out: tuple[LeftOut, ...] = ()
    other_levels: tuple[LevelThen, ...] = ()
    """sides that the baseline judged at another level"""
    always: tuple[str, ...] = ()
    """checks for missing or wrong audio, whose findings no baseline excuses"""


class PluginFailure(Sparse):
    """A plugin that did not load or failed during the run, which then ends with exit code 3."""

    plugin: str
    stage: str
    message: str
    side: str | None = None


class Origin(Model):
    """Whether the measurements of a side are new or stored."""

    how: HowMeasured
    measured_on: str | None = None
    """first day on which any stored measurement of the side was made, "2026-11-30" (UTC); None without stored ones"""


class Run(Model):
    """The only facts that may differ between two runs over the same delivery."""

    started: str
    seconds: float
    workers: int
    sides: Mapping[str, HowMeasured] = Field(default_factory=dict)
    """side -> whether this run measured it or read stored measurements"""
    measured_on: Mapping[str, str] = Field(default_factory=dict)
    """side with stored measurements -> first day on which any of them was made, "2026-11-30" (UTC)"""

    @classmethod
    def of(cls, started: str, seconds: float, workers: int, origins: Mapping[str, Origin]) -> Self:
        """Build the facts from the origin of each side's measurements, side id -> origin."""
        days = {side: origin.measured_on for side, origin in origins.items() if origin.measured_on is not None}
        sides = {side: origin.how for side, origin in origins.items()}
        return cls(started=started, seconds=seconds, workers=workers, sides=sides, measured_on=days)


class Report(Model):
    """The report of a judged delivery."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    plugins: tuple[str, ...]
    ruleset: RulesetFacts
    delivery: DeliveryFacts
    level: str | None = None
    """the value of `--level`, "-6 dB"; None where each side was judged at its requested or release level"""
    sides: tuple[SideReport, ...]
    discs: tuple[DiscLevel, ...] = ()
    results: tuple[CheckResult, ...]
    waivers: tuple[WaiverFacts, ...] = ()
    approvals: tuple[ApprovalFacts, ...] = ()
    """in the order of their files; not in the JSON where there are none"""
    approvals_unread: str = ""
    """fault of an `approvals.yaml` in the delivery's folder that could not be read; not in the JSON without one"""
    baseline: BaselineFacts | None = None
    plugin_failures: tuple[PluginFailure, ...] = ()
    plugin_warnings: tuple[PluginFailure, ...] = ()
    """plugins that did not load and that nothing in this report needs; they do not change the exit code"""
    verdict: Verdict
    subjects: tuple[SubjectVerdict, ...] = ()
    """programme, groove and paperwork; empty in reports that did not state them"""
    cautions: tuple[str, ...] = ()
    run: Run | None = None

    @model_serializer(mode="wrap")
    def _leave_out_no_approvals(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return without_empty(without_empty(handler(self), "approvals"), "approvals_unread")
