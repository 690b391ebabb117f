"""Models of a ruleset comparison: the differences, the kind of release they make, their effect on a delivery."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from qc.model.quantity import Model, Quantity, Sparse
from qc.model.report import ExtendedFacts, Outcome, PluginFailure, Verdict

Kind = Literal["none", "patch", "minor", "major"]


class RulesetName(Model):
    """One of the two compared rulesets."""

    name: str
    version: str
    sha256: str
    serves: str
    """12in at 33"""
    extends: tuple[ExtendedFacts, ...] = ()


class WrittenValue(Model):
    """A value of the chain as written in the ruleset, with its source."""

    value: str
    source: str


class ChainRow(Model):
    """A chain value that differs; "words" where only its source does."""

    key: str
    change: Literal["value", "words"]
    before: WrittenValue
    after: WrittenValue


class PolicyRow(Model):
    """A policy value or a named tip that differs; `moves` says whether the recommended level changes with it."""

    key: str
    moves: bool
    before: WrittenValue
    after: WrittenValue


class WrittenLimit(Sparse):
    """A limit as written in the ruleset, with its source, file and line."""

    warn: str | None = None
    fail: str | None = None
    sets_level: Literal["warn", "fail"] | None = None
    source: str
    origin: str


class LimitRow(Model):
    """A limit that differs; "changed" is tightened and loosened at once, or undecided; "words" is a new source only."""

    limit: str
    change: Literal["tightened", "loosened", "changed", "added", "removed", "words"]
    before: WrittenLimit | None
    after: WrittenLimit | None


class WrittenParameter(Model):
    """A parameter as written in the ruleset, with its source, file and line."""

    value: str
    source: str
    origin: str


class ParameterRow(Model):
    """A parameter that differs; "words" is a new source only."""

    parameter: str
    change: Literal["changed", "added", "removed", "words"]
    before: WrittenParameter | None
    after: WrittenParameter | None


class CheckRow(Model):
    """A check that only one of the two rulesets runs, or that is off in both for different reasons ("words")."""

    check: str
    change: Literal["on", "off", "words"]
    reason: str = ""


class MeasureRow(Model):
    """A check without code that uses another measurement, or has other texts ("words")."""

    check: str
    change: Literal["measure", "words"]
    before: str
    after: str


class RequiresRow(Model):
    """The required versions of a distribution, or of the tool itself ("the tool")."""

    name: str
    before: str | None
    after: str | None


class ReleaseReason(Model):
    """One difference, and the kind of release that it alone requires."""

    kind: Kind
    says: str


class Release(Model):
    """The kind of release from the first ruleset to the second, and the kind that their version numbers promise."""

    kind: Kind
    reasons: tuple[ReleaseReason, ...] = ()
    promised: Kind | None = None
    """None where the second version does not follow the first"""
    keeps: bool | None = None
    """whether the change is no more than was promised"""


class OutcomeRow(Model):
    """The outcome of one check on one side by each ruleset; None where that ruleset does not judge it."""

    check: str
    side: str | None
    before: Outcome | None
    after: Outcome | None


class LevelChangeRow(Model):
    """The recommended level of a side by each ruleset; None where there is none."""

    side: str
    before: Quantity | None
    after: Quantity | None


class Unsaid(Model):
    """An outcome or level that the numbers of a report do not decide, and the reason."""

    what: str
    side: str | None
    why: str


class Compared(Model):
    """The effect of both rulesets on a delivery judged twice, or on the numbers of a report by the first ruleset."""

    on: Literal["delivery", "report"]
    file: str
    title: str
    tool: str
    """the tool, with its version, that measured"""
    outcomes: tuple[OutcomeRow, ...]
    levels: tuple[LevelChangeRow, ...] = ()
    unsaid: tuple[Unsaid, ...] = ()
    verdict_before: Verdict
    verdict_after: Verdict | None = None
    """None where not every outcome could be decided"""
    plugin_failures: tuple[PluginFailure, ...] = ()


class RulesetDiff(Model):
    """The comparison of two rulesets."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    before: RulesetName
    after: RulesetName
    release: Release
    chain: tuple[ChainRow, ...] = ()
    level: tuple[PolicyRow, ...] = ()
    limits: tuple[LimitRow, ...] = ()
    parameters: tuple[ParameterRow, ...] = ()
    checks: tuple[CheckRow, ...] = ()
    measures: tuple[MeasureRow, ...] = ()
    requires: tuple[RequiresRow, ...] = ()
    compared: Compared | None = None
