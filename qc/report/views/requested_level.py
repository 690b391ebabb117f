"""Failures that the requested level causes and the recommended level would fix."""

from __future__ import annotations

from typing import NamedTuple

from qc.model.report import Report, SideReport
from qc.report.views.findings import findings_by_check

OVER = "groove.level_over_recommended"
"""Measurement of how far the requested level is above the recommended one."""


class FixedByLevel(NamedTuple):
    """Checks that fail on a side for other things than its level, and how many of them the recommended level fixes."""

    by_level: int
    others: int


def fixed_by_recommended(report: Report, side: SideReport) -> FixedByLevel:
    """Count the failing checks that the recommended level of a side fixes; zero unless it is judged at a higher level.

    The judge found them by judging the side at that level too.
    """
    failing = [group for group in findings_by_check(report, "fail", by_side=True) if group.most_serious.side == side.id]
    others = [group for group in failing if any(measured.measure != OVER for measured in group.findings)]
    levels = side.levels
    better = () if levels is None or levels.fixed_at_recommended is None else levels.fixed_at_recommended
    return FixedByLevel(sum(group.check in better for group in others), len(others))
