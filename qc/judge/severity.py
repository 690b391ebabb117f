"""Decide whether a report fails, and which findings count."""

from __future__ import annotations

from qc.model.report import BaselineFacts, CheckResult, Report


def failed(report: Report, *, strict: bool = False, only_new: bool = False) -> bool:
    """Whether a report fails (`strict`: or warns); with `only_new` by findings that the baseline does not have."""
    if only_new:
        return counted(report, strict=strict) > 0
    return report.verdict == "fail" or (strict and report.verdict == "warn")


def counted(report: Report, *, strict: bool) -> int:
    """Count the unwaived findings that fail (`strict`: or warn) and that the baseline does not have.

    Where this report omits more findings than the baseline, the difference counts too. Of missing or wrong audio every
    finding counts, since neither report judged anything else of it.
    """
    return sum(counted_of(result, report.baseline, strict=strict) for result in report.results)


def counted_of(result: CheckResult, before: BaselineFacts | None, *, strict: bool) -> int:
    """Count the findings of one check, as `counted` does."""
    grades = {"fail", "warn"} if strict else {"fail"}
    mine = [finding for finding in result.findings if finding.severity in grades and finding.waived_by is None]
    always = before is not None and result.check in before.always
    new = len(mine) if always else sum(finding.baseline != "unchanged" for finding in mine)
    if _mildest(result) not in grades:
        return new
    left = () if before is None or always else before.left_out
    then = sum(entry.then for entry in left if (entry.check, entry.side) == (result.check, result.side))
    return new + max(0, result.left_unwaived - then)


def _mildest(result: CheckResult) -> str:
    """Return the worst severity that an omitted finding may have: that of the mildest finding in the report."""
    return "fail" if all(finding.severity == "fail" for finding in result.findings) else "warn"
