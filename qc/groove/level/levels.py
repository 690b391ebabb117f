"""The level a side can take: judged, recommended and clean, and the level that each limit alone allows.

Every number is the worse of the polarities. The search runs on a grid of 0.1 dB from -40 to +20 dB, and narrows
down to two neighbours, since no number improves when the level rises. One may all the same, by a little: the level
that was found is therefore tried once more with every limit that sets it, and lowered until all hold.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import Literal, Self

from qc.groove.geometry.cut import FOLLOWING, MEASURES, Cutting, is_worse, measurable, rises, windowed
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.worst import Worst
from qc.groove.level.memo import LevelMemo, Recent
from qc.groove.level.rows import LevelPolicy, LevelRow
from qc.groove.level.search import HIGHEST, LOWEST, Trial, all_levels, search_together, step_down, straight
from qc.model.errors import NotMeasuredError
from qc.model.quantity import Op, Polarity, Quantity, meets
from qc.plugin_base import At

FIRST, STRIDE = 0, 16
"""First level of a search and first distance from it, 0.1 dB: far levels, where turns overlap, take longest."""

Wanted = tuple[LevelRow, float]
"""A limit and the value it is searched at."""


@dataclass(frozen=True, slots=True)
class Reached:
    """A cut level in dB; `bound` when the search ended at one of its ends."""

    level: float
    bound: Literal["<", ">"] | None = None
    by: LevelRow | None = None

    @classmethod
    def at(cls, tenths: int, by: LevelRow | None) -> Self:
        """Build it from the answer of a search in steps of 0.1 dB; the answer is LOWEST - 1 where nothing holds."""
        bound: Literal["<", ">"] | None = "<" if tenths < LOWEST else ">" if tenths >= HIGHEST else None
        return cls(max(tenths, LOWEST) / 10.0, bound, by)

    @property
    def tenths(self) -> int:
        """The answer of the search in steps of 0.1 dB."""
        return LOWEST - 1 if self.bound == "<" else round(10.0 * self.level)

    @property
    def order(self) -> tuple[float, int]:
        """Key by which levels are sorted; of equal ones "below the lowest" comes first and "above the highest" last."""
        return self.level, ("<", None, ">").index(self.bound)

    def quantity(self) -> Quantity:
        """Return the level as reports show it."""
        return Quantity(value=self.level, unit="dB", bound=self.bound)


class LevelSearch:
    """Tries the limits of one side at any level; numbers of earlier searches, in `memo`, are not computed again."""

    def __init__(self, side: SideGeometry, rows: Iterable[LevelRow], memo: LevelMemo | None = None) -> None:
        self.side, self.memo = side, memo or LevelMemo()
        following = [row for row in rows if row.measure in FOLLOWING and measurable(row.measure, side)]
        self.rows = tuple(row for row in following if row.measure in MEASURES or row.sets_level)
        self.unset = tuple(row for row in following if row.sets_level is None and rises(row.measure, row.op))
        """limits that a higher level breaks and that do not set it"""
        self._cuttings: Recent[float, dict[Polarity, Cutting]] = Recent(1)

    def own_copy(self) -> LevelSearch:
        """Return the same search with arrays of its own; the memo, which has numbers only, is shared."""
        return LevelSearch(self.side.own_copy(), dict.fromkeys([*self.rows, *self.unset]), self.memo)

    def forget(self) -> None:
        """Release all arrays, not the numbers; they are computed again when they are asked for."""
        self._cuttings.clear()

    def cutting(self, level: float, polarity: Polarity) -> Cutting:
        """Return the side as cut at a level in dB; the arrays, which are large, are kept for the last level only."""

        def cuttings() -> dict[Polarity, Cutting]:
            return {p: Cutting(self.side, level, p, self.memo.at(level, p)) for p in self.side.polarities}

        return self._cuttings.get(level, cuttings)[polarity]

    def worst(self, name: str, level: float) -> tuple[Worst, Polarity]:
        """Return a measurement at a level for its own worse polarity."""
        found = [(self.cutting(level, p).measure(name), p) for p in self.side.polarities]
        worst = found[0]
        for other in found[1:]:
            if is_worse(FOLLOWING[name], other[0].value, worst[0].value):
                worst = other
        return worst

    def shown(self, name: str, level: float) -> tuple[Worst, Polarity]:
        """Return a measurement as reports place it: of equal polarities, on the spiral that travels further."""
        further = self.worst("groove.travel", level)[1]
        other = self.cutting(level, further).measure(name)
        worst, polarity = self.worst(name, level)
        return (other, further) if other.value == worst.value else (worst, polarity)

    def quantity(self, name: str, level: float) -> Quantity:
        """Return a measurement in its unit, with the sector where it is worst."""
        worst, polarity = self.shown(name, level)
        measure = FOLLOWING[name]
        return Quantity(
            value=worst.value * measure.factor,
            unit=measure.unit,
            at=self.place(worst, polarity, level, worst.sector),
        )

    def window(self, name: str, level: float) -> At | None:
        """Place the window that a share or a drive is taken over; None for other measurements."""
        if not windowed(name):
            return None
        worst, polarity = self.shown(name, level)
        return self.place(worst, polarity, level, worst.start, worst.end)

    def place(self, worst: Worst, polarity: Polarity, level: float, start: int, end: int | None = None) -> At:
        """Place sectors on the side as cut at a level."""
        radius = self.cutting(level, polarity).radius_at(start)
        return self.side.at(start, start + 1 if end is None else end, radius, polarity, worst.channel)

    def holds(self, want: Wanted, level: float) -> bool:
        """Whether a limit holds at a level."""
        row, bound = want
        values = self._values(row, level)  # one at a time: where the first breaks the limit no second spiral is needed
        return all(meets(value, bound, row.op, row.unit) for value in values)

    def _values(self, row: LevelRow, level: float) -> Iterator[float]:
        """Yield the values that a limit is compared with, in its unit, as they are asked for."""
        measure = FOLLOWING[row.measure]
        if _turned(row):  # it is the worse one that counts, and for such a limit it may be the one that holds
            yield self.worst(row.measure, level)[0].value * measure.factor
            return
        for polarity in self.side.polarities:
            yield self.cutting(level, polarity).measure(row.measure).value * measure.factor

    def _trial(self, want: Wanted, level: float) -> Trial:
        """Try a limit at a level."""
        (row, bound), most = want, -math.inf
        for value in self._values(row, level):
            most = max(most, excess(value, bound, row.op))
            if not meets(value, bound, row.op, row.unit):
                return Trial(False, most)
        return Trial(True, most)

    def reach(self, wanted: Iterable[Wanted]) -> dict[Wanted, Reached]:
        """Return the highest level at which each limit holds by itself."""
        brackets = {want: all_levels(straight(FIRST, STRIDE), ends_first=_turned(want[0])) for want in wanted}
        found = search_together(lambda want, tenths: self._trial(want, tenths / 10.0), brackets)
        return {want: Reached.at(tenths, want[0]) for want, tenths in found.items()}

    def level_for(self, row: LevelRow) -> Reached:
        """Return the highest level at which the value that sets the level holds by itself; raises NotMeasuredError."""
        if not rises(row.measure, row.op) or not measurable(row.measure, self.side) or row.setting is None:
            raise NotMeasuredError(f"{row.measure} does not get worse as the level rises on this side")
        want = (row, row.setting)
        return self.reach([want])[want]

    def allowed(self) -> tuple[dict[LevelRow, Reached], Reached, Reached]:
        """Find what each limit alone allows, the edge and the clean level.

        A limit is taken at the value that sets the level, else at warn, else at fail; the edge is the lowest of those
        that set the level, clean the lowest level that a warn value allows, or the fail value of a limit that sets
        the level and has no other. At the edge all that set it hold.
        """
        single = {row: bound for row in self.rows if (bound := _first(row.setting, row.warn, row.fail)) is not None}
        warned = [(row, row.warn) for row in self.rows if row.warn is not None]
        reached = self.reach(single.items())
        by_limit = {row: reached[row, bound] for row, bound in single.items()}
        edge = self.lowered(lowest([by_limit[row] for row in single if row.sets_level]))
        reached |= self.reach(self._lower(warned, reached))
        unwarned = [by_limit[row] for row in single if row.sets_level and row.warn is None]
        return by_limit, edge, lowest([*(reached[want] for want in warned if want in reached), *unwarned])

    def recommended(self, edge: Reached, policy: LevelPolicy) -> Reached:
        """Return the recommended level by the edge and the policy; every limit that sets the level holds there."""
        lower = below(edge, policy)
        return edge if lower == edge else self.lowered(lower)

    def lowered(self, found: Reached) -> Reached:
        """Go down from a level, a tenth at a time, until every limit that sets the level holds there.

        Numbers are nearly monotonic, so that the first level does but for rare sides.
        """
        broken: list[LevelRow] = []

        def holds(tenths: int) -> bool:
            row = next((row for row in self.rows if not self._keeps(row, row.setting, tenths / 10.0)), None)
            broken.extend([] if row is None else [row])
            return row is None

        tenths = step_down(holds, found.tenths)
        return Reached.at(tenths, broken[-1]) if broken else found

    def _keeps(self, row: LevelRow, bound: float | None, level: float) -> bool:
        """Whether a limit holds at a level with one of its values; without such a value it does."""
        return bound is None or self.holds((row, bound), level)

    def failing(self, level: float) -> tuple[LevelRow, ...]:
        """Return the limits that fail at a level, do not set the level, and would hold at a lower one."""
        return tuple(row for row in self.unset if not self._keeps(row, row.fail, level))

    def quiet(self, level: float) -> tuple[LevelRow, ...]:
        """Return the limits that set the level and do not warn at this one, by any of their measurements."""
        setting = [row for row in self.rows if row.sets_level]
        loud = {row.name for row in setting if not self._keeps(row, row.warn, level)}
        return tuple(row for row in setting if row.name not in loud)

    def _lower(self, wanted: Sequence[Wanted], reached: Mapping[Wanted, Reached]) -> list[Wanted]:
        """Leave out of `wanted` what was searched already, and what holds above the lowest level found for it.

        It is the lowest that is asked for; one level tells what lies above it, but for a limit the wrong way round.
        """
        left = [want for want in wanted if want not in reached]
        found = [reached[want] for want in wanted if want in reached]
        above = lowest(found).level + 0.1 if found else math.inf
        if above > HIGHEST / 10.0:
            return left
        return [want for want in left if _turned(want[0]) or not self.holds(want, round(above, 1))]


def below(edge: Reached, policy: LevelPolicy) -> Reached:
    """Return the level that a policy recommends for an edge, LOWEST at the least; the edge where nothing holds."""
    if edge.bound == "<" or not policy.tenths:
        return edge
    return replace(edge, level=max(LOWEST, round(10.0 * edge.level) - policy.tenths) / 10.0)


def _turned(row: LevelRow) -> bool:
    """Whether a limit is the wrong way round: it asks for no less of what should be little, or the other way about."""
    return not rises(row.measure, row.op)


def excess(value: float, bound: float, op: Op) -> float:
    """Return the excess of a value over its limit: the log of their ratio for `<=`, else their difference."""
    if op == ">=":
        return bound - value
    return math.log(value) - math.log(bound) if value > 0.0 and bound > 0.0 else math.copysign(math.inf, value - bound)


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)


def lowest(reached: Sequence[Reached]) -> Reached:
    """Take the limit that gives out first; where none does, every level is allowed and nothing rules."""
    first = min(reached, key=attrgetter("order"), default=Reached(HIGHEST / 10.0, ">"))
    return replace(first, by=None) if first.bound == ">" else first
