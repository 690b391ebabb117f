"""The comparison of two rulesets as models: what differs, which kind of release that is, what it does to a delivery."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from qc.model.quantity import Model, Quantity, Sparse
from qc.model.report import ExtendedFacts, Outcome, PluginFailure, Verdict

Kind = Literal["none", "patch", "minor", "major"]


class RulesetName(Model):
    """One of the two rulesets."""

    name: str
    version: str
    sha256: str
    serves: str
    """12in at 33"""
    extends: tuple[ExtendedFacts, ...] = ()


class WrittenValue(Model):
    """A value of a chain as it is written."""

    value: str
    source: str


class ChainRow(Model):
    """A value of the chain that differs, or only its source."""

    key: str
    change: Literal["value", "words"]
    before: WrittenValue
    after: WrittenValue


class PolicyRow(Model):
    """A value of the policy for the recommended level that differs; `moves`: whether that level differs by it."""

    key: str
    moves: bool
    before: WrittenValue
    after: WrittenValue


class WrittenLimit(Sparse):
    """A limit as it is written, and where."""

    warn: str | None = None
    fail: str | None = None
    sets_level: Literal["warn", "fail"] | None = None
    source: str
    origin: str


class LimitRow(Model):
    """A limit that differs; "changed" is both ways at once, or one that cannot be told, "words" its source alone."""

    limit: str
    change: Literal["tightened", "loosened", "changed", "added", "removed", "words"]
    before: WrittenLimit | None
    after: WrittenLimit | None


class CheckRow(Model):
    """A check that is judged by one of the two only, or off in both for another reason ("words")."""

    check: str
    change: Literal["on", "off", "words"]
    reason: str = ""


class MeasureRow(Model):
    """A limit without code that is held against another measurement, or told in other words."""

    check: str
    change: Literal["measure", "words"]
    before: str
    after: str


class RequiresRow(Model):
    """What must be installed, by distribution ("the tool" for the tool itself): the versions asked for."""

    name: str
    before: str | None
    after: str | None


class ReleaseReason(Model):
    """One difference, and the kind of release that it takes by itself."""

    kind: Kind
    says: str


class Release(Model):
    """Which kind of release it is to go from the one to the other, and what their version numbers promise."""

    kind: Kind
    reasons: tuple[ReleaseReason, ...] = ()
    promised: Kind | None = None
    """None where the two do not follow each other"""
    keeps: bool | None = None
    """whether the change is no more than was promised"""


class OutcomeRow(Model):
    """What became of one check on one side by the one and by the other; None where that does not judge it."""

    check: str
    side: str | None
    before: Outcome | None
    after: Outcome | None


class LevelChangeRow(Model):
    """The recommended level of a side by the one and by the other; None where there is none."""

    side: str
    before: Quantity | None
    after: Quantity | None


class Unsaid(Model):
    """What a report cannot tell, of which check and side, and why."""

    what: str
    side: str | None
    why: str


class Compared(Model):
    """The two rulesets at work: on a delivery that was judged by both, or on the numbers of a report by the first."""

    on: Literal["delivery", "report"]
    file: str
    title: str
    tool: str
    """that measured"""
    outcomes: tuple[OutcomeRow, ...]
    levels: tuple[LevelChangeRow, ...] = ()
    unsaid: tuple[Unsaid, ...] = ()
    verdict_before: Verdict
    verdict_after: Verdict | None = None
    """None where not all of it could be said"""
    plugin_failures: tuple[PluginFailure, ...] = ()


class RulesetDiff(Model):
    """Two rulesets held against each other."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    before: RulesetName
    after: RulesetName
    release: Release
    chain: tuple[ChainRow, ...] = ()
    level: tuple[PolicyRow, ...] = ()
    limits: tuple[LimitRow, ...] = ()
    checks: tuple[CheckRow, ...] = ()
    measures: tuple[MeasureRow, ...] = ()
    requires: tuple[RequiresRow, ...] = ()
    compared: Compared | None = None
