"""The level budget of a side: what each limit allows, which one rules, and what reducing its worst passages would win.

A repair is tried out: the passages, none longer than 5 s, are excluded from the limit that rules and lowered by 6 dB
in the pitch they demand, and the recommended level is searched again. What wins nothing more is not tried further.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from qc.groove.geometry.cut import FOLLOWING, windowed
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.traces import OF_TRAVEL, Array, Mask, Trace, any_wall, furthest, loud, trace
from qc.groove.level.events import Stretch
from qc.groove.level.levels import Reached
from qc.groove.level.memo import LevelMemo, RepairTrial
from qc.groove.level.reduction import ReducedSide
from qc.groove.level.rows import LevelRow
from qc.groove.level.search import HIGHEST, Bracket, doubling, search_highest
from qc.model.cutting_chain import SECTORS_A_SECOND

MOST = 5
"""Passages that are taken out at the most."""
LONGEST = 5 * SECTORS_A_SECOND
"""Sectors of a passage at the most."""
NOTHING = 1e-9
"""m of travel that are rounding and not a passage."""
LAND = "groove.land_min"


@dataclass(frozen=True, slots=True)
class PassageRepair:
    """Passages to be reduced, in sectors of the span, the worst first; the level the side then takes, and its gain."""

    passages: tuple[Stretch, ...]
    reached: Reached
    wins: float
    """dB above the recommended level"""


@dataclass(frozen=True, slots=True)
class LevelBudget:
    """The limits that set the level, the tightest first; the one that rules; what is there without it; the repairs."""

    rows: tuple[tuple[LevelRow, Reached], ...]
    ruling: LevelRow | None
    lifted: Reached
    """the level if the limit that rules were not there, and what would rule then"""
    repairs: tuple[PassageRepair, ...]


@dataclass(frozen=True, slots=True)
class _Kept:
    """A limit that sets the level: the value it does it at, and the tenth of a dB at which it alone still holds."""

    row: LevelRow
    bound: float
    tenths: int

    @property
    def text(self) -> str:
        """Cache key of a trial: the limit's measurement, bound and level."""
        return f"{self.row.measure} {self.row.op} {self.bound!r} {self.row.unit} at {self.tenths}"


def budget(
    side: SideGeometry, by_limit: dict[LevelRow, Reached], recommended: Reached, memo: LevelMemo | None = None
) -> LevelBudget:  # fmt: skip
    """Work out the budget of a side from the level that each limit alone allows.

    Repairs that were tried before with the same limits are taken from `memo`, and others are added to it.
    """
    setting = [(row, reached) for row, reached in by_limit.items() if row.sets_level]
    setting.sort(key=lambda pair: pair[1].order)
    ruling = recommended.by
    others = [pair for pair in setting if pair[0] != ruling]
    lifted = others[0][1] if others else Reached(HIGHEST / 10.0, ">")
    lifted = replace(lifted, by=None) if lifted.bound == ">" else lifted
    kept = [_Kept(row, _bound(row), round(10.0 * reached.level)) for row, reached in setting]
    repairs = (
        [] if ruling is None or recommended.bound else _repairs(side, kept, ruling, recommended, memo or LevelMemo())
    )
    return LevelBudget(tuple(setting), ruling, lifted, tuple(repairs))


def _bound(row: LevelRow) -> float:
    bound = row.setting
    assert bound is not None  # a limit that sets the level has the value it sets it at
    return bound


def _repairs(
    side: SideGeometry, kept: Sequence[_Kept], ruling: LevelRow, recommended: Reached, memo: LevelMemo
) -> list[PassageRepair]:  # fmt: skip
    """Return what repairs win, from the memo or tried now."""
    (rule,) = [limit for limit in kept if limit.row == ruling]
    start = round(10.0 * recommended.level)
    key = f"{start} by {kept.index(rule)}: " + ", ".join(limit.text for limit in kept)
    trials = memo.trials(key)
    if trials is None:
        trials = tuple(_tried(side, kept, rule, start))
        memo.add_trials(key, trials)
    rows = [limit.row for limit in kept]
    return [_repair(trial, None if trial.by is None else rows[trial.by], start) for trial in trials]


def _repair(trial: RepairTrial, by: LevelRow | None, start: int) -> PassageRepair:
    return PassageRepair(trial.passages, Reached.at(trial.tenths, by), (trial.tenths - start) / 10.0)


def _tried(side: SideGeometry, kept: Sequence[_Kept], rule: _Kept, level: int) -> Iterator[RepairTrial]:
    """Take out one passage after the other, as long as the limit that rules is the same."""
    rows = [limit.row for limit in kept]
    reduced = ReducedSide(side, (), rule.row.measure)
    for _ in range(MOST):
        if level == HIGHEST:
            return
        passage = _worst_passage(reduced, rule, (level + 1) / 10.0)
        if passage is None:
            return
        reduced.forget()
        reduced = ReducedSide(side, (*reduced.passages, passage), rule.row.measure)
        beyond = level + 1  # where the passage was too much
        level, by = _highest(reduced, kept, rule, level)
        best, won = reduced, level
        narrow = _narrowed(reduced, rule, max(level, beyond))
        if narrow is not None and _broken(narrow, kept, rule, level) is None:
            best = narrow
            won, by = _highest(narrow, kept, rule, level)
        yield RepairTrial(best.passages, won, None if by is None else rows.index(by))
        if by != rule.row:
            return


def _highest(reduced: ReducedSide, kept: Sequence[_Kept], rule: _Kept, low: int) -> tuple[int, LevelRow | None]:
    """Find the highest tenth at which every limit holds, from one at which all do, and the limit that ends it."""
    ends: dict[int, LevelRow] = {}

    def holds(tenths: int) -> bool:
        broken = _broken(reduced, kept, rule, tenths)
        if broken is not None:
            ends[tenths] = broken
        return broken is None

    others = [limit.tenths for limit in kept if limit != rule]
    at_once = len(reduced.passages) == 1 and rule.row.measure not in OF_TRAVEL  # may win all that the others leave
    first = min(others, default=HIGHEST) if at_once else low + 1
    found = search_highest(holds, Bracket(low, HIGHEST + 1, doubling(first)))
    return found, ends.get(found + 1)


def _broken(reduced: ReducedSide, kept: Sequence[_Kept], rule: _Kept, tenths: int) -> LevelRow | None:
    """Name a limit that does not hold at a level, the one that rules first; None where all hold.

    What holds by itself at that level holds all the more where less is demanded, for every radius is then greater;
    only the land is looked at again.
    """
    doubtful = (limit for limit in kept if limit != rule and (limit.tenths < tenths or limit.row.measure == LAND))
    for limit in (rule, *doubtful):
        if limit.row.measure not in FOLLOWING:  # a plugin's, which is not asked about repairs: it wins nothing by them
            return limit.row
        if not reduced.keeps(limit.row, limit.bound, tenths / 10.0):
            return limit.row
    return None


# -- which passage ---------------------------------------------------------------------------------------------


def _worst_passage(reduced: ReducedSide, rule: _Kept, level: float) -> Stretch | None:
    """Find the worst 5 s of what the limit still looks at, at a level at which it does not hold."""
    if rule.row.measure in OF_TRAVEL:
        return _furthest_travelled(reduced, level)
    seen = [found for polarity in reduced.side.polarities if (found := reduced.trace(level, polarity)) is not None]
    if not seen:
        return None
    worst, of = max(((found.worst(), found) for found in seen), key=lambda pair: pair[1].sign * pair[0].value)
    n, sector = reduced.side.span.sectors, worst.sector
    start = (worst.start + worst.end - LONGEST) // 2
    if worst.end - worst.start > LONGEST:
        assert of.weight is not None  # as every trace of windows has
        start = worst.start + _heaviest(of.weight[worst.start : worst.end])
        sector = start + int(of.walls[:, start : start + LONGEST].max(axis=0).argmax())
    start = max(0, min(start, n - LONGEST))
    return _between(reduced, sector, start, min(start + LONGEST, n))


def _between(reduced: ReducedSide, sector: int, start: int, end: int) -> Stretch | None:
    """Cut a passage about a sector off where one begins that is reduced already; None where the sector itself is."""
    if reduced.mask[sector]:
        return None
    before = np.flatnonzero(reduced.mask[start:sector])
    after = np.flatnonzero(reduced.mask[sector:end])
    return start + int(before[-1]) + 1 if len(before) else start, sector + int(after[0]) if len(after) else end


def _furthest_travelled(reduced: ReducedSide, level: float) -> Stretch | None:
    """Find the 5 s in which the spiral runs furthest beyond plain pitch, outside marks and what is reduced already."""
    side = reduced.side
    cut, turn = side.chain.cut, side.chain.disc.sectors_a_turn
    cuttings = [reduced.cutting(level, polarity) for polarity in side.polarities]
    cutting = max(cuttings, key=lambda cutting: cutting.spiral_path.travel)
    spare = cutting.spiral.advance - (cut.top_width + cut.land) / turn
    cutting.forget()
    spare[side.marks > 0.0] = 0.0
    spare[reduced.mask] = -1.0  # no passage reaches into another
    start = _heaviest(spare)
    end = min(start + LONGEST, side.span.sectors)
    return (start, end) if spare[start:end].sum() > NOTHING else None


def _heaviest(weight: Array | Mask) -> int:
    """Return the first start of the 5 s that weigh the most, 0 for less than 5 s; sums that only round apart tie."""
    if len(weight) <= LONGEST:
        return 0
    total = np.concatenate([[0.0], np.cumsum(weight, dtype=np.float64)])
    heavy = total[LONGEST:] - total[:-LONGEST]
    return int((heavy >= heavy.max() - 1e-12 * np.abs(total).max()).argmax())


def _narrowed(reduced: ReducedSide, rule: _Kept, tenths: int) -> ReducedSide | None:
    """Narrow the passages to what is over the limit at a level; None where all of them count."""
    if rule.row.measure in OF_TRAVEL:
        return None
    # Reducing a passage widens the land around it, so the land is looked at on the side as it was.
    alone = ReducedSide(reduced.side, (), reduced.forgets) if rule.row.measure == LAND else reduced
    seen = [trace(alone.cutting(tenths / 10.0, polarity), rule.row.measure) for polarity in reduced.side.polarities]
    over = np.logical_or.reduce([_over(found, rule) for found in seen if found is not None])
    narrow: list[Stretch] = []
    for start, end in reduced.passages:
        there = np.flatnonzero(over[start:end])
        narrow.append((start + int(there[0]), start + int(there[-1]) + 1) if len(there) else (start, end))
    return ReducedSide(reduced.side, narrow, reduced.forgets)


def _over(seen: Trace, rule: _Kept) -> Mask:
    """Mask of the sectors that take part in what is over a limit, (sectors,)."""
    at = furthest(rule.row.measure, rule.bound)
    if windowed(rule.row.measure):
        return any_wall(seen.walls > loud(rule.row.measure, at))
    return seen.beyond(at)
