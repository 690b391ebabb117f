"""Add remedies with numbers: each check may look at its findings again after judging, the most severe first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar

from qc.audio.excerpts import Excerpts
from qc.groove.level.rows import LevelRow
from qc.judge.accepted import OF_THE_RUN, accepted
from qc.judge.changed_audio import judge_changed_audio
from qc.judge.context import BrokenNeedError, Context, SideEvidence
from qc.judge.engine import CheckRunner
from qc.judge.findings import MeasuredFinding
from qc.model.cutting_chain import Chain
from qc.model.errors import FAULTS, NotMeasuredError, SecondLookError
from qc.model.report import PluginFailure
from qc.plugin_base import Check, CheckResult, Finding, Need, Quantity, Samples, Stream, Tap
from qc.text.exceptions import exception_line

R = TypeVar("R")
NEAR_S = 1.0
"""Greatest distance in s between findings that are handled together, so that they share the audio read again."""
MAY_CHANGE = {"remedy", "remedies"}

_Key = tuple[int, int]
"""index of a result, and of a finding in it"""


class _Look:
    """The Excerpt of one check on one side."""

    def __init__(self, evidence: SideEvidence, excerpts: Excerpts, check: Check[Any]) -> None:
        self._context, self._excerpts = Context(evidence, check), excerpts
        self._judges, self._level_for = type(check).judges, evidence.level_for
        self.over = False
        """whether the check timed out or failed; a check that keeps running then cannot read audio any more"""

    @property
    def side(self) -> str:
        """Id of the side."""
        return self._context.side

    @property
    def chain(self) -> Chain:
        """The assumed chain from the file to the stylus."""
        return self._context.chain

    @property
    def stream(self) -> Stream:
        """Properties of the side's audio."""
        return self._excerpts.stream

    def __call__(self, start_s: float, end_s: float, tap: Tap | None = None) -> Samples:
        """Return samples between two file seconds, of the source or a tap; raises SecondLookError."""
        if self.over:
            raise SecondLookError("it took too long")
        return self._excerpts(start_s, end_s, tap)

    def __getitem__(self, need: type[Need[R]]) -> R:
        """Return the result of a need; raises the errors of `Context`."""
        return self._context[need]

    def measured(self, name: str) -> Quantity:
        """Return a published number; raises the errors of `Context`."""
        return self._context.measured(name)

    def level_for(self, finding: Finding) -> Quantity:
        """Return the highest level at which the value that a finding breaks holds; raises NotMeasuredError."""
        limit, severity = finding.limit, finding.severity
        entries = [entry for entry in self._judges.items() if entry[1].measure == finding.measure]
        if limit is None or not entries:
            raise NotMeasuredError("the finding is of no limit that the check judges a measurement by")
        key, judged = entries[0]
        warn, fail = (limit.warn, None) if severity == "warn" else (None, limit.fail)
        row = LevelRow(finding.check, key, judged.measure, judged.op, warn, fail, limit.unit, sets_level=severity)
        return self._level_for(row)


def advise(
    checks: Iterable[Check[Any]], results: Sequence[CheckResult], evidence: SideEvidence, excerpts: Excerpts,
    runner: CheckRunner,
) -> tuple[list[CheckResult], list[PluginFailure]]:  # fmt: skip
    """Return the results of a side with remedies in numbers, where checks have them and audio can be read again.

    A check that raises or times out keeps its findings and is reported, as is audio that cannot be read any more. Audio
    that has changed since the pass fails the checks of the audio itself.
    """
    checks = tuple(checks)
    advising = {check.id: check for check in checks if type(check).advise is not Check.advise}
    findings = {
        (i, j): finding
        for i, result in enumerate(results)
        if result.check in advising
        for j, finding in enumerate(result.findings)
    }
    failures: dict[str, PluginFailure] = {}
    looks = {check_id: _Look(evidence, excerpts, check) for check_id, check in advising.items()}
    for key in _in_order(findings):
        check_id = findings[key].check
        if check_id in failures:
            continue
        check, look = advising[check_id], looks[check_id]
        try:
            findings[key] = _only_remedy_changed(findings[key], _advised(check, findings[key], look, runner))
        except (SecondLookError, NotMeasuredError, BrokenNeedError):
            continue
        except FAULTS as error:
            look.over = True
            failures[check_id] = runner.failure(check_id, exception_line(error), evidence.side)
    advised = _with(results, findings)
    if not excerpts.lost:
        return advised, [*failures.values()]
    if excerpts.changed and (again := judge_changed_audio(checks, advised, evidence, excerpts.changed, runner)):
        return again[0], [*failures.values(), *again[1]]
    lost = PluginFailure(plugin="sidegate", stage="second look", message=excerpts.lost, side=evidence.side)
    return advised, [*failures.values(), lost]


def _advised(check: Check[Any], finding: Finding, look: _Look, runner: CheckRunner) -> Finding:
    """Return what a check advises on a finding, which it gets as a copy; raises what the check raises."""

    def call() -> Finding:
        advised = check.advise(finding.model_copy(deep=True), look)
        return accepted(advised, type(check).id, {finding.location.side})

    return runner.call(call).model_copy(update={name: getattr(finding, name) for name in OF_THE_RUN})


def _only_remedy_changed(finding: Finding, advised: Finding) -> Finding:
    """Return the advised finding; raises ValueError where more than its remedy differs."""
    kept = finding.model_copy(update={name: getattr(advised, name) for name in MAY_CHANGE})
    if kept != advised:
        raise ValueError("its advice changed more of a finding than the remedy")
    return advised


def _in_order(findings: Mapping[_Key, Finding]) -> list[_Key]:
    """Return the keys in order of severity, each followed by those of findings nearby."""
    waiting = sorted(findings, key=lambda key: MeasuredFinding(findings[key]).gravity)
    order: list[_Key] = []
    while waiting:
        second = MeasuredFinding(findings[waiting[0]]).second
        near = [key for key in waiting[1:] if _near(second, MeasuredFinding(findings[key]).second)]
        order += [waiting[0], *near]
        taken = {waiting[0], *near}
        waiting = [key for key in waiting if key not in taken]
    return order


def _near(first: float | None, second: float | None) -> bool:
    return first is not None and second is not None and abs(first - second) <= NEAR_S


def _with(results: Sequence[CheckResult], findings: Mapping[_Key, Finding]) -> list[CheckResult]:
    """Return the results with the given findings."""
    given = []
    for i, result in enumerate(results):
        kept = tuple(findings.get((i, j), finding) for j, finding in enumerate(result.findings))
        given.append(result if kept == result.findings else result.model_copy(update={"findings": kept}))
    return given
