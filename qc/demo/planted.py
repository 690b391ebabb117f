"""Faults on purpose: what was planted where, and whether a report tells of it."""

from __future__ import annotations

from dataclasses import dataclass

from qc.plugin_api import Finding, Report

NEAR = 0.05
"""s by which a finding may lie beside its fault."""


@dataclass(frozen=True)
class Planted:
    """A fault: the check that finds it, its side, and where it lies in the file, in s (None: all of the side)."""

    check: str
    side: str
    what: str
    start: float | None = None
    end: float | None = None


def findings(fault: Planted, report: Report) -> list[Finding]:
    """Give the findings that tell of a fault: of its check, on its side, and where they have a place, at its own."""
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
