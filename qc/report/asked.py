"""What comes with the level that was asked for, and is not there at the recommended one."""

from __future__ import annotations

from typing import NamedTuple

from qc.report.findings import Fold, folds
from qc.report.model import Report, SideReport

OVER = "groove.level_over_recommended"
"""The measurement that says how far the level asked for is above the recommended one."""


class Mended(NamedTuple):
    """Checks that fail on a side for other things than its level, and how many of them the recommended level mends."""

    by_level: int
    others: int


def mended(report: Report, side: SideReport) -> Mended:
    """Count what the recommended level of a side mends, when a louder one was asked for; else that is nothing."""
    mend = [fold for fold in folds(report, "fail", by_side=True) if fold.gravest.side == side.id]
    others = [fold for fold in mend if any(one.measure != OVER for one in fold.found)]
    levels = side.levels
    if levels is None or levels.declared is None or levels.recommended.bound == "<":
        return Mended(0, len(others))
    if levels.judged.value <= levels.recommended.value:
        return Mended(0, len(others))
    return Mended(sum(_goes(report, fold) for fold in others), len(others))


def _goes(report: Report, fold: Fold) -> bool:
    """Whether all that a check fails for holds at the recommended level, as every limit does that sets it."""
    limits = [limit for name, limit in report.ruleset.limits.items() if name.startswith(f"{fold.check}/")]
    if fold.omitted and any(limit.fail is not None and limit.sets_level is None for limit in limits):
        return False
    return all(one.finding.limit is not None and one.finding.limit.sets_level is not None for one in fold.found)
