"""What comes with the level that was asked for, and is not there at the recommended one."""

from __future__ import annotations

from qc.report.findings import Fold, folds
from qc.report.model import Report, SideReport

OVER = "groove.level_over_recommended"
"""The measurement that says how far the level asked for is above the recommended one."""


def mended_too(report: Report, side: SideReport) -> str:
    """Say how much else is to be mended on a side and is not there at the recommended level: "5 of the 10 others".

    Empty where nothing is, or no level was asked for, or the side cannot be cut at any.
    """
    levels = side.levels
    if levels is None or levels.declared is None or levels.recommended.bound == "<":
        return ""
    if levels.judged.value <= levels.recommended.value:
        return ""
    mend = [fold for fold in folds(report, "fail", by_side=True) if fold.gravest.side == side.id]
    others = [fold for fold in mend if any(one.measure != OVER for one in fold.found)]
    gone = sum(_goes(report, fold) for fold in others)
    if not gone:
        return ""
    return f"{gone} of the {len(others)} others" if len(others) > 1 else "the other one"


def _goes(report: Report, fold: Fold) -> bool:
    """Whether all that a check fails for holds at the recommended level, as every limit does that sets it."""
    limits = [limit for name, limit in report.ruleset.limits.items() if name.startswith(f"{fold.check}/")]
    if fold.omitted and any(limit.fail is not None and limit.sets_level is None for limit in limits):
        return False
    return all(one.finding.limit is not None and one.finding.limit.sets_level is not None for one in fold.found)
