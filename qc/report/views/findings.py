"""Findings as formats show them: grouped by check, each with its place in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from qc.judge.findings import MeasuredFinding, every
from qc.model.quantity import clock
from qc.model.report import Report


@dataclass(frozen=True)
class CheckFindings:
    """The findings of a check, the most serious first, and the number that the report left out."""

    check: str
    findings: tuple[MeasuredFinding, ...]
    omitted: int = 0

    @property
    def most_serious(self) -> MeasuredFinding:
        """The first of the findings."""
        return self.findings[0]

    @property
    def count(self) -> int:
        """Number of findings, with those that the report left out."""
        return len(self.findings) + self.omitted

    def first(self, most: int) -> tuple[MeasuredFinding, ...]:
        """Return `most` findings at most, by severity; the most serious of each limit is chosen before the others."""
        first_of = {measured.measure: index for index, measured in reversed(list(enumerate(self.findings)))}
        order = sorted(range(len(self.findings)), key=lambda index: first_of[self.findings[index].measure] != index)
        return tuple(self.findings[index] for index in sorted(order[:most]))


def findings_by_check(
    report: Report, severity: str, *, by_side: bool, without: Callable[[Report, MeasuredFinding], bool] | None = None
) -> list[CheckFindings]:  # fmt: skip
    """Group the findings of one severity by check, or by check and side, in order of the most serious of each.

    `without` selects findings to leave out, such as the warnings that disappear at the clean level.
    """
    kept: dict[tuple[str, str], list[MeasuredFinding]] = {}
    elsewhere: Counter[tuple[str, str]] = Counter()
    for measured in every(report):
        if measured.finding.severity != severity:
            continue
        if without is not None and without(report, measured):
            elsewhere[measured.finding.check, measured.side] += 1
        else:
            kept.setdefault((measured.finding.check, measured.side if by_side else ""), []).append(measured)
    omitted = {}
    for result in report.results:
        key = (result.check, result.side or "delivery")
        left = result.left_unwaived
        if without is not None:
            left -= result.warnings_gone_at_clean - elsewhere[key]  # counted elsewhere, though the report left them out
        if left > 0:
            omitted[key] = left
    return [
        CheckFindings(check, tuple(findings), _omitted(omitted, check, findings, severity))
        for (check, _), findings in kept.items()
    ]


def _omitted(
    omitted: dict[tuple[str, str], int], check: str, findings: Sequence[MeasuredFinding], severity: str
) -> int:
    """Count the findings left out of the report; failures are kept first, so those are of the least serious kind."""
    sides = {measured.side for measured in findings}
    failures_whole = severity == "fail" and any(measured.finding.severity != "fail" for measured in findings)
    return (
        0
        if failures_whole
        else sum(count for (name, side), count in omitted.items() if name == check and side in sides)
    )


def place(measured: MeasuredFinding, *, fully: bool = False, briefly: bool = False) -> str:
    """Write the place of a finding: "B 1:16.067, track 2, radius 135.0 mm"; with `fully` also its window and channel.

    With `briefly` only side, second and track, which can be compared with the places of an earlier report.
    """
    at = measured.finding.location
    parts = [at.side or "the delivery"]
    if measured.second is not None:
        parts[0] += f" {clock(measured.second)}"
    if fully and measured.window is not None:
        parts.append(f"worst of {clock(measured.window[0])} to {clock(measured.window[1])}")
    if at.track is not None:
        parts.append(f"track {at.track}")
    if briefly:
        return ", ".join(parts)
    if at.radius_mm is not None:
        parts.append(f"radius {at.radius_mm:.1f} mm")
    if fully and at.channel is not None:
        parts.append(at.channel)
    if at.line is not None:
        parts.append(f"line {at.line} of the delivery")
    return ", ".join(parts)
