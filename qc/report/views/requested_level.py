"""What comes with the level that was requested, and is not there at the recommended one."""

from __future__ import annotations

from typing import NamedTuple

from qc.model.report import Report, SideReport
from qc.report.views.findings import folds

OVER = "groove.level_over_recommended"
"""The measurement that says how far the level asked for is above the recommended one."""


class FixedByLevel(NamedTuple):
    """Checks that fail on a side for other things than its level, and how many of them the recommended level fixes."""

    by_level: int
    others: int


def fixed_by_recommended(report: Report, side: SideReport) -> FixedByLevel:
    """Count what the recommended level of a side fixes, when it is judged at a higher one; else that is nothing.

    Which checks those are was found by judging at that level.
    """
    failing = [fold for fold in folds(report, "fail", by_side=True) if fold.gravest.side == side.id]
    others = [fold for fold in failing if any(one.measure != OVER for one in fold.found)]
    levels = side.levels
    better = () if levels is None or levels.fixed_at_recommended is None else levels.fixed_at_recommended
    return FixedByLevel(sum(fold.check in better for fold in others), len(others))
