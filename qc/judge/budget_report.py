"""Convert the level budget and the print-through neighbours of a side to report models."""

from __future__ import annotations

import math
from collections.abc import Mapping

from qc.groove.level.budget import PassageRepair
from qc.groove.level.levels import below
from qc.groove.level.print_through import Neighbours
from qc.groove.level.side_at_level import WorkedSide
from qc.model.report import Budget, BudgetLine, LevelAt, Passage, PrintThrough, Repair
from qc.plugin_base import At, Quantity

MOST = 100
"""Most pairs of neighbours in the report of a side, those with the greatest difference."""


def budget(worked: WorkedSide, by_limit: Mapping[str, LevelAt]) -> Budget:
    """Return the level that each limit allows, taken from `by_limit` by name, and the gain of repairs."""
    searched, recommended = worked.budget, worked.recommended.level
    names = dict.fromkeys(row.name for row, _ in searched.rows)
    return Budget(
        limits=tuple(_line(name, by_limit[name], recommended) for name in names),
        ruling=None if searched.ruling is None else searched.ruling.name,
        lifted=below(searched.lifted, worked.policy).quantity(),
        then=None if searched.lifted.by is None else searched.lifted.by.name,
        repairs=tuple(_repair(worked, repair) for repair in searched.repairs),
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
    """Return the neighbours that may print through, those with the greatest difference first."""
    return tuple(_print_through(worked, pair) for pair in worked.neighbours[:MOST])


def _print_through(worked: WorkedSide, pair: Neighbours) -> PrintThrough:
    radius = worked.cutting.spiral_path.radius

    def at(sector: int) -> At:
        return worked.search.side.at(sector, sector + 1, radius, worked.polarity, None)

    return PrintThrough(
        loud=at(pair.loud),
        quiet=at(pair.quiet),
        land=Quantity(value=pair.land * 1e6, unit="um"),
        apart=Quantity(value=20.0 * math.log10(pair.ratio), unit="dB", bound=">" if pair.silent else None),
    )
