"""Runs every check on a side and says what became of it; a check that raises is an error, never a pass."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any

from qc.contract import Check, CheckResult, Finding, Outcome, Report
from qc.errors import FAULTS, NotApplicableError, NotMeasuredError
from qc.judge.context import BrokenNeedError, Context, Evidence
from qc.patience import PATIENCE_S, Patient
from qc.report.findings import Found
from qc.report.model import PluginFailure, Verdict
from qc.wording import told

MOST_FINDINGS = 100
"""Findings kept of one check on one side, the gravest; the rest are counted."""


def judge_side(
    checks: Iterable[Check[Any]], evidence: Evidence, owner: Mapping[str, str], patience: float = PATIENCE_S
) -> tuple[list[CheckResult], list[PluginFailure]]:
    """Judge one side with every check but those of the delivery; `owner` names each check's plugin.

    A measurement that broke is an error of every check that asks for it and no fault of theirs: whoever measured
    names its plugin. A check that takes longer than `patience`, s, is an error too.
    """
    return _judge([check for check in checks if check.scope != "delivery"], evidence, owner, patience)


def judge_delivery(
    checks: Iterable[Check[Any]], sides: Mapping[str, Evidence], delivery: Mapping[str, Any], owner: Mapping[str, str],
    patience: float = PATIENCE_S,
) -> tuple[list[CheckResult], list[PluginFailure]]:  # fmt: skip
    """Judge the delivery as a whole: checks that hold its sides, source -> evidence, against each other."""
    chain = next(iter(sides.values())).chain
    whole = Evidence(side="", chain=chain, declared={}, delivery=delivery, others=sides)
    return _judge([check for check in checks if check.scope == "delivery"], whole, owner, patience)


def _judge(
    checks: Iterable[Check[Any]], evidence: Evidence, owner: Mapping[str, str], patience: float
) -> tuple[list[CheckResult], list[PluginFailure]]:
    results, failures, side = [], [], evidence.side or None
    with Patient(patience) as ask:
        for check in checks:
            context = Context(evidence, check)
            outcome, findings, reason, at_fault = _judged(check, context, ask)
            if at_fault:
                plugin = owner.get(check.id, "?")
                failures.append(PluginFailure(plugin=plugin, stage=check.id, message=reason, side=side))
            kept = sorted(findings, key=lambda f: Found(f).gravity)[:MOST_FINDINGS]
            kept.sort(key=lambda f: (f.severity != "fail", f.location.start_s or 0.0))
            results.append(
                CheckResult(
                    check=check.id,
                    scope=check.scope,
                    side=side,
                    outcome=outcome,
                    measured=context.looked_at,
                    findings=tuple(kept),
                    findings_omitted=len(findings) - len(kept),
                    reason=reason,
                )
            )
    return results, failures


def _judged(check: Check[Any], context: Context, ask: Patient) -> tuple[Outcome, list[Finding], str, bool]:
    """Run one check; gives outcome, findings, the reason where there is one, and whether the check is at fault."""
    findings: list[Finding] = []
    without: Outcome = "pass"
    reason = ""
    try:
        ask(partial(_evaluate, check, context, findings))
    except NotApplicableError as why:
        without, reason = "not_applicable", str(why)
    except NotMeasuredError as why:
        without, reason = "not_measured", str(why)
    except BrokenNeedError as broken:
        return "error", [], str(broken), False
    except FAULTS as error:
        return "error", [], told(error), True
    # what was found before a number turned out to be missing stands
    severities = {finding.severity for finding in findings}
    outcome: Outcome = "fail" if "fail" in severities else "warn" if "warn" in severities else without
    return outcome, findings, reason or " ".join(context.notes), False


def _evaluate(check: Check[Any], context: Context, findings: list[Finding]) -> None:
    """Add what a check finds to `findings`; raises whatever it raises."""
    if check.scope not in ("side", "delivery"):
        raise ValueError(f'its scope is "{check.scope}", and only sides and deliveries are judged')
    for finding in check.evaluate(context):
        if not isinstance(finding, Finding):
            raise TypeError(f"{check.id} gave a {type(finding).__name__}, not a Finding")
        findings.append(finding)


def verdict(results: Iterable[CheckResult], failures: Iterable[PluginFailure]) -> Verdict:
    """Give the gravest outcome; waived, not applicable and not measured ones weigh nothing by themselves."""
    outcomes = {result.outcome for result in results}
    if "error" in outcomes or tuple(failures):
        return "error"
    return "fail" if "fail" in outcomes else "warn" if "warn" in outcomes else "pass"


def exit_code(report: Report, *, strict: bool = False) -> int:
    """0 pass, 1 a check failed (with `strict` also: warned), 3 a plugin or the tool failed."""
    if report.verdict == "error" or report.plugin_failures:
        return 3
    return int(report.verdict == "fail" or (strict and report.verdict == "warn"))
