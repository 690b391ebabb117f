"""The level budget of a worked side, and its neighbours that may print through, put into the report's words."""

from __future__ import annotations

import math
from collections.abc import Mapping

from qc.groove.level.budget import PassageRepair
from qc.groove.level.levels import below
from qc.groove.level.print_through import Neighbours
from qc.groove.level.side_at_level import WorkedSide
from qc.model.report import Budget, BudgetLine, LevelAt, Passage, PrintThrough, Repair
from qc.plugin_api import At, Quantity

MOST = 100
"""Neighbours that a report keeps of a side, the most unlike."""


def budget(worked: WorkedSide, by_limit: Mapping[str, LevelAt]) -> Budget:
    """Give what each limit allows, as `by_limit` has it by name, and what repairs are worth."""
    known, recommended = worked.budget, worked.recommended.level
    names = dict.fromkeys(row.name for row, _ in known.rows)
    return Budget(
        limits=tuple(_line(name, by_limit[name], recommended) for name in names),
        ruling=None if known.ruling is None else known.ruling.name,
        lifted=below(known.lifted, worked.policy).quantity(),
        then=None if known.lifted.by is None else known.lifted.by.name,
        repairs=tuple(_repair(worked, repair) for repair in known.repairs),
    )


def _line(name: str, reached: LevelAt, recommended: float) -> BudgetLine:
    level = reached.level
    above = Quantity(value=level.value - recommended, unit="dB", bound=level.bound)
    return BudgetLine(limit=name, level=level, at=reached.at, above=above)


def _repair(worked: WorkedSide, repair: PassageRepair) -> Repair:
    side = worked.search.side

    def passage(start: int, end: int) -> Passage:
        at = side.at(start, end, None, None, None)
        assert at.start_s is not None  # it is placed by its sectors
        assert at.end_s is not None
        return Passage(start_s=at.start_s, end_s=at.end_s, track=at.track)

    return Repair(
        passages=tuple(passage(start, end) for start, end in repair.passages),
        recommended=below(repair.reached, worked.policy).quantity(),
        wins=Quantity(value=repair.wins, unit="dB", bound=repair.reached.bound),
        ruling=None if repair.reached.by is None else repair.reached.by.name,
    )


def print_through(worked: WorkedSide) -> tuple[PrintThrough, ...]:
    """Give the neighbours that may print through, the most unlike first."""
    return tuple(_unlike(worked, one) for one in worked.neighbours[:MOST])


def _unlike(worked: WorkedSide, one: Neighbours) -> PrintThrough:
    radius = worked.cutting.spiral_path.radius

    def at(sector: int) -> At:
        return worked.search.side.at(sector, sector + 1, radius, worked.polarity, None)

    return PrintThrough(
        loud=at(one.loud),
        quiet=at(one.quiet),
        land=Quantity(value=one.land * 1e6, unit="um"),
        apart=Quantity(value=20.0 * math.log10(one.ratio), unit="dB", bound=">" if one.silent else None),
    )
