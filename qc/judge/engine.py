"""Run the checks and compute their outcomes; a check that raises is an error, never a pass."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from qc.judge.accepted import MOST, accepted
from qc.judge.context import BrokenNeedError, Context, Field, SideEvidence, with_distinct_fingerprints
from qc.judge.findings import MeasuredFinding
from qc.judge.severity import failed
from qc.judge.waivers.model import Waivers
from qc.model.errors import FAULTS, NotApplicableError, NotMeasuredError, TextTooLongError
from qc.model.report import PluginFailure, Verdict
from qc.plugin_base import Check, CheckResult, Finding, Outcome, Report, Scope
from qc.plugin_host.runner import Runner
from qc.text.exceptions import exception_line, reason_of

MOST_FINDINGS = 100
"""Most findings of one check on one side in a report, the most severe ones; the rest are counted."""


@dataclass(frozen=True)
class CheckRunner:
    """Runs the code of checks, and names the plugin of a check that fails."""

    owner: Mapping[str, str] = field(default_factory=dict)
    """check id -> name of its plugin, or of the ruleset that defines the check"""
    call: Runner = field(default_factory=Runner)

    def failure(self, check_id: str, message: str, side: str | None) -> PluginFailure:
        """Return the failure of a check with its plugin; `side` is None for checks of the delivery."""
        return PluginFailure(plugin=self.owner.get(check_id, "?"), stage=check_id, message=message, side=side)

    def failures(self, broken: Mapping[str, str]) -> list[PluginFailure]:
        """Return the failures of checks that could not be bound, check id -> reason."""
        return [self.failure(check_id, why, None) for check_id, why in broken.items()]


def judge_side(
    checks: Iterable[Check[Any]], evidence: SideEvidence, runner: CheckRunner, waivers: Waivers | None = None
) -> tuple[list[CheckResult], list[PluginFailure]]:
    """Judge one side with all checks but those of the whole delivery.

    A failed measurement is an error of every check that reads it, and a failure of the plugin that measures it. A check
    that raises or times out is an error too.
    """
    return _judge([check for check in checks if check.scope != "delivery"], evidence, runner, waivers)


def judge_delivery(
    checks: Iterable[Check[Any]], sides: Mapping[str, SideEvidence], delivery: Mapping[str, Any],
    runner: CheckRunner, waivers: Waivers | None = None, line_of: Callable[[Field], int | None] = lambda _: None,
) -> tuple[list[CheckResult], list[PluginFailure]]:  # fmt: skip
    """Judge the whole delivery with the checks that compare its sides, source -> evidence.

    `line_of` returns the line of a key in the delivery file.
    """
    chain = next(iter(sides.values())).chain
    whole = SideEvidence(side="", chain=chain, declared={}, delivery=delivery, others=sides, line_of=line_of)
    return _judge([check for check in checks if check.scope == "delivery"], whole, runner, waivers)


class _Judged(NamedTuple):
    """Findings of one check; `without` is the outcome without them, `at_fault` whether the check itself failed."""

    without: Outcome
    findings: Sequence[Finding]
    reason: str
    at_fault: bool = False


def _judge(
    checks: Iterable[Check[Any]], evidence: SideEvidence, runner: CheckRunner, waivers: Waivers | None
) -> tuple[list[CheckResult], list[PluginFailure]]:
    results, failures = [], []
    for check in checks:
        context, its = Context(evidence, check), (check.id, check.scope)
        judged = _judged(check, context, runner.call)
        if judged.at_fault:
            failures.append(runner.failure(its[0], judged.reason, evidence.side or None))
        results.append(_result(its, context, evidence, judged, waivers or Waivers()))
    return results, failures


def _result(
    its: tuple[str, Scope], context: Context, evidence: SideEvidence, judged: _Judged, waivers: Waivers
) -> CheckResult:
    """Return the result of a check, given by its id and scope.

    Waivers are applied before findings are omitted, so that the counts include all findings.
    """
    check_id, scope = its
    found = with_distinct_fingerprints(judged.findings)
    findings = [waivers.applied(check_id, finding, scope, _starts(evidence, finding)) for finding in found]
    kept = sorted(findings, key=lambda f: MeasuredFinding(f).gravity)[:MOST_FINDINGS]
    kept.sort(key=lambda f: (f.waived_by is not None, f.severity != "fail", f.location.start_s or 0.0))
    return CheckResult(
        check=check_id,
        scope=scope,
        side=evidence.side or None,
        outcome=outcome_of(judged.without, findings),
        measured={name: evidence.quantities[name] for name in context.looked_at if name in evidence.quantities},
        findings=tuple(kept),
        findings_omitted=len(findings) - len(kept),
        findings_waived=sum(finding.waived_by is not None for finding in findings),
        warnings_gone_at_clean=sum(
            finding.severity == "warn"
            and finding.waived_by is None
            and (check_id, finding.measure) in evidence.clean_of
            for finding in findings
        ),
        reason=judged.reason,
    )


def _starts(evidence: SideEvidence, finding: Finding) -> list[tuple[int, float]]:
    """Return number and start in s of each track of the finding's side."""
    its = evidence.others.get(f"side:{finding.location.side}", evidence)
    return [(t["number"], t["start"]) for t in its.declared.get("tracks", ()) if "start" in t]


def outcome_of(without: Outcome, findings: Sequence[Finding]) -> Outcome:
    """Return the worst severity among unwaived findings; waivers do not turn a missing measurement into a pass."""
    severities = {finding.severity for finding in findings if finding.waived_by is None}
    if severities:
        return "fail" if "fail" in severities else "warn"
    return "waived" if findings and without not in ("not_measured", "error") else without


def _judged(check: Check[Any], context: Context, call: Runner) -> _Judged:
    """Run one check; findings made before a number turns out to be missing are kept."""
    findings: list[Finding] = []
    without: Outcome = "pass"
    reason = ""
    try:
        call(_evaluate, check, context, findings)
    except NotApplicableError as why:
        without, reason = "not_applicable", reason_of(why)
    except NotMeasuredError as why:
        without, reason = "not_measured", reason_of(why)
    except BrokenNeedError as broken:
        return _Judged("error", (), reason_of(broken))
    except TextTooLongError as why:  # a text of the sender, which keeps no pattern busy: neither a pass nor an error
        findings.append(context.of_text(reason_of(why), why.text))
    except FAULTS as error:
        return _Judged("error", (), exception_line(error), at_fault=True)
    if context.broken:
        return _Judged("error", (), context.broken)
    return _Judged(without, findings, _joined([reason, *context.notes]))


def _joined(sentences: Iterable[str]) -> str:
    """Join the sentences that are there, with a semicolon after one that has no full stop."""
    text = ""
    for sentence in filter(None, sentences):
        text += f"{' ' if text.endswith('.') else '; '}{sentence}" if text else sentence
    return text


def _evaluate(check: Check[Any], context: Context, findings: list[Finding]) -> None:
    """Append the findings of a check to `findings`; raises whatever the check raises."""
    if check.scope not in ("side", "delivery"):
        raise ValueError(f'its scope is "{check.scope}", and only sides and deliveries are judged')
    check_id = check.id  # before any code of the check runs
    sides = {source.removeprefix("side:") for source in context.sources} | {context.side}
    for finding in check.evaluate(context):
        if len(findings) == MOST:
            raise ValueError(f"it gave more than {MOST} findings")
        findings.append(accepted(finding, check_id, sides))
    if any(comparison.unread for comparison in context.comparisons):
        raise ValueError("it compared a number with a limit and dropped the finding; write: yield from ctx.judge(...)")


def verdict(results: Iterable[CheckResult], failures: Iterable[PluginFailure]) -> Verdict:
    """Return the worst outcome; waived, not applicable and not measured ones count as a pass."""
    outcomes = {result.outcome for result in results}
    if "error" in outcomes or tuple(failures):
        return "error"
    return "fail" if "fail" in outcomes else "warn" if "warn" in outcomes else "pass"


def exit_code(report: Report, *, strict: bool = False, only_new: bool = False) -> int:
    """Return 0 for a pass, 1 where a check failed (with `strict` also: warned), 3 where a plugin or the tool failed.

    With `only_new` only findings count that the baseline report does not have.
    """
    if report.verdict == "error" or report.plugin_failures:
        return 3
    return int(failed(report, strict=strict, only_new=only_new))
