"""Faults planted in the demo, and the findings of a report that name them."""

from __future__ import annotations

from dataclasses import dataclass

from qc.plugin_base import Finding, Report

NEAR = 0.05
"""Tolerance in s between a finding and its fault."""


@dataclass(frozen=True)
class Planted:
    """A fault: the check that finds it, its side, and where it lies in the file, in s (None: all of the side)."""

    check: str
    side: str
    what: str
    start: float | None = None
    end: float | None = None


def findings(fault: Planted, report: Report) -> list[Finding]:
    """Return the findings of a fault: those of its check, on its side and, where they have a place, at its place."""
    return [
        finding
        for result in report.results
        if result.check == fault.check
        for finding in result.findings
        if finding.location.side in {fault.side, ""} and _meet(fault, finding)
    ]


def _meet(fault: Planted, finding: Finding) -> bool:
    at = finding.location
    if fault.start is None or fault.end is None or at.start_s is None:
        return True
    end = at.start_s if at.end_s is None else at.end_s
    return at.start_s <= fault.end + NEAR and end >= fault.start - NEAR
