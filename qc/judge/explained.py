"""Leave out findings that follow from one cause, where a check that names the cause has found it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from qc.judge.engine import outcome_of
from qc.model.report import Outcome
from qc.plugin_base import Check, CheckResult, Finding

_RANK: dict[Outcome, int] = {"warn": 1, "fail": 2}


def without_explained(results: Sequence[CheckResult], checks: Iterable[Check[Any]]) -> list[CheckResult]:
    """Return the results without the findings that the `explains` of other checks cover, with the cause as the reason.

    A cause that was waived, or that is less grave than what it would replace, explains nothing: no verdict gets better.
    """
    by_id = {check.id: check for check in checks}
    left = list(results)
    for cause in results:
        kinds_by_check = by_id[cause.check].explains if cause.check in by_id else {}
        for check_id, kinds in kinds_by_check.items():
            for i, result in enumerate(left):
                if result.check == check_id:
                    left[i] = _without(result, kinds, cause)
    return left


def _without(result: CheckResult, kinds: tuple[str, ...], cause: CheckResult) -> CheckResult:
    """Return a result without the findings of some kinds, or of all, that `cause` is grave enough for on their side."""
    grave = defaultdict[str | None, int](int)
    for finding in cause.findings:
        if finding.waived_by is None and finding.location.side:
            grave[finding.location.side] = max(grave[finding.location.side], _RANK[finding.severity])
    kept = [
        finding
        for finding in result.findings
        if not _is_of(finding, kinds) or _RANK[finding.severity] > grave[finding.location.side]
    ]
    gone = len(result.findings) - len(kept)
    if not gone or (not kinds and _RANK.get(result.outcome, 0) > grave[result.side]):
        return result
    reason = f"{gone} finding{'s' * (gone != 1)} left to {cause.check}"
    waived = sum(finding.waived_by is not None for finding in result.findings if finding not in kept)
    return result.model_copy(
        update={
            "findings": tuple(kept),
            "findings_omitted": result.findings_omitted if kinds else 0,
            "findings_waived": result.findings_waived - waived if kept else 0,
            "outcome": outcome_of("not_applicable", kept),
            "reason": f"{result.reason}; {reason}" if result.reason else reason,
        }
    )


def _is_of(finding: Finding, kinds: tuple[str, ...]) -> bool:
    return not kinds or finding.measured in kinds
