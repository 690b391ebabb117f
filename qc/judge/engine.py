"""Runs every check on a side and says what became of it; a check that raises is an error, never a pass."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from qc.contract import Check, CheckResult, Finding, Outcome, Report
from qc.errors import NotApplicableError, NotMeasuredError
from qc.judge.context import BrokenNeedError, Context, Evidence
from qc.report.model import PluginFailure, Verdict

MOST_FINDINGS = 100
"""Findings kept of one check on one side; the rest are counted."""


def judge_side(
    checks: Iterable[Check[Any]], evidence: Evidence, owner: Mapping[str, str]
) -> tuple[list[CheckResult], list[PluginFailure]]:
    """Judge one side with every check of side scope; `owner` names each check's plugin."""
    results, failures = [], []
    for check in checks:
        if check.scope != "side":
            continue
        context = Context(evidence, check)
        outcome, findings, reason = _judged(check, context)
        if outcome == "error":
            failures.append(
                PluginFailure(
                    plugin=owner.get(check.id, "?"), stage=check.id, message=reason, side=evidence.side
                )
            )
        findings.sort(key=lambda f: (f.severity != "fail", f.location.start_s or 0.0))
        results.append(
            CheckResult(
                check=check.id,
                scope=check.scope,
                side=evidence.side,
                outcome=outcome,
                measured=context.looked_at,
                findings=tuple(findings[:MOST_FINDINGS]),
                findings_omitted=max(0, len(findings) - MOST_FINDINGS),
                reason=reason,
            )
        )
    return results, failures


def _judged(check: Check[Any], context: Context) -> tuple[Outcome, list[Finding], str]:
    """Run one check; gives outcome, findings and the reason where there is one."""
    findings: list[Finding] = []
    try:
        for finding in check.evaluate(context):
            if not isinstance(finding, Finding):
                raise TypeError(f"{check.id} gave a {type(finding).__name__}, not a Finding")  # noqa: TRY301
            findings.append(finding)
    except NotApplicableError as reason:
        return "not_applicable", [], str(reason)
    except NotMeasuredError as reason:
        return "not_measured", [], str(reason)
    except BrokenNeedError as broken:
        return "error", [], str(broken)
    except Exception as error:  # a plugin may raise anything
        text = " ".join(str(error).split())
        return "error", [], f"{type(error).__name__}: {text}" if text else type(error).__name__
    severities = {finding.severity for finding in findings}
    return ("fail" if "fail" in severities else "warn" if "warn" in severities else "pass"), findings, ""


def verdict(results: Iterable[CheckResult], failures: Iterable[PluginFailure]) -> Verdict:
    """Give the gravest outcome; waived, not applicable and not measured ones weigh nothing by themselves."""
    outcomes = {result.outcome for result in results}
    if "error" in outcomes or tuple(failures):
        return "error"
    return "fail" if "fail" in outcomes else "warn" if "warn" in outcomes else "pass"


def exit_code(report: Report, *, strict: bool = False) -> int:
    """0 pass, 1 a check failed (with `strict` also: warned), 3 a plugin or the tool failed."""
    if report.verdict == "error":
        return 3
    return int(report.verdict == "fail" or (strict and report.verdict == "warn"))
