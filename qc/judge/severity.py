"""What a report comes to: whether it fails, and which findings count."""

from __future__ import annotations

from qc.model.report import BaselineFacts, CheckResult, Report


def failed(report: Report, *, strict: bool = False, only_new: bool = False) -> bool:
    """Say whether a report fails (`strict`: or warns); `only_new`: by what the earlier report did not have."""
    if only_new:
        return counted(report, strict=strict) > 0
    return report.verdict == "fail" or (strict and report.verdict == "warn")


def counted(report: Report, *, strict: bool) -> int:
    """Count the findings that fail (`strict`: or warn), are waived by nobody, and that no earlier report had.

    Where either report left some out, as many as were left out more than then count too. Of audio that is missing or
    wrong every finding counts: nothing else was judged of it, then or now.
    """
    return sum(counted_of(result, report.baseline, strict=strict) for result in report.results)


def counted_of(result: CheckResult, before: BaselineFacts | None, *, strict: bool) -> int:
    """Count as `counted` does, what one check found."""
    grades = {"fail", "warn"} if strict else {"fail"}
    mine = [one for one in result.findings if one.severity in grades and one.waived_by is None]
    always = before is not None and result.check in before.always
    new = len(mine) if always else sum(one.baseline != "unchanged" for one in mine)
    if _mildest(result) not in grades:
        return new
    left = () if before is None or always else before.left_out
    then = sum(one.then for one in left if (one.check, one.side) == (result.check, result.side))
    return new + max(0, result.left_unwaived - then)


def _mildest(result: CheckResult) -> str:
    """Give the gravest that a finding left out may be: as grave as the mildest that was kept."""
    return "fail" if all(one.severity == "fail" for one in result.findings) else "warn"
