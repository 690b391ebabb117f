"""Breaks of a programme into sides: those, without reordering, that give the worst side the highest level.

Of breaks that do so equally well those with the higher sum of levels are taken, then those with the more equal
lengths. Up to `EXACT` tracks every stretch of tracks is searched. Beyond that a side is taken never to gain level
when a track is added to it, which leaves few stretches to search; equal breaks are then decided by length alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qc.groove.level.highest import Highest, HighestSearch
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.groove.level.search import HIGHEST, LOWEST, Bracket, all_levels, halving, search_highest
from qc.model.cutting_chain import Chain
from qc.plan.running_order import RunningOrder

EXACT = 12
"""Tracks, or stretches of tracks that run on, up to which nothing is taken for granted."""
Interval = tuple[int, int]
"""Units from the first to the last, both its own."""


@dataclass(frozen=True, slots=True)
class SideCandidate:
    """One side of a split: pieces from `first` to `last`, its level, and how long it lasts."""

    first: int
    last: int
    highest: Highest
    seconds: float


@dataclass(frozen=True, slots=True)
class Split:
    """A programme over so many sides."""

    parts: tuple[SideCandidate, ...]

    @property
    def worst(self) -> Highest:
        """The side with the lowest level."""
        return min((part.highest for part in self.parts), key=lambda highest: highest.tenths)


class BreakSearch:
    """Searches the breaks of one programme on one disc; the level of a stretch is searched once for all splits."""

    def __init__(
        self, order: RunningOrder, chain: Chain, rows: Sequence[LevelRow], policy: LevelPolicy = EDGE
    ) -> None:  # fmt: skip
        self.order, self.chain, self.rows, self.policy = order, chain, rows, policy
        self.units = order.units
        self.exact = len(self.units) <= EXACT
        self._tenths: dict[Interval, int] = {}
        self._highest: dict[Interval, Highest] = {}

    @property
    def searched(self) -> int:
        """Number of stretches of tracks that were searched."""
        return len(self._tenths)

    def splits(self, most: int) -> Iterator[Split]:
        """Yield the best split over 1, 2 ... sides, `most` at most and no more than win anything."""
        alone = min(self._level(i, i) for i in range(len(self.units)))
        for sides in range(1, min(most, len(self.units)) + 1):
            top = self._top_of_all(sides) if self.exact else self._top_by_bisection(sides)
            yield Split(tuple(self._part(interval) for interval in self._chosen(sides, top)))
            if top >= alone:
                return  # the track that rules would rule by itself too

    def _part(self, interval: Interval) -> SideCandidate:
        first, last = self.units[interval[0]][0], self.units[interval[1]][1]
        if interval not in self._highest:
            self._highest[interval] = self._search(interval).highest()
        return SideCandidate(first, last, self._highest[interval], self.order.seconds(first, last))

    def _search(self, interval: Interval) -> HighestSearch:
        first, last = self.units[interval[0]][0], self.units[interval[1]][1]
        return HighestSearch(self.order.side(self.chain, first, last), self.rows, policy=self.policy)

    def _level(self, i: int, j: int) -> int:
        """Return the level of a stretch in tenths of a dB; levels of shorter stretches only serve as a guess."""
        if (i, j) not in self._tenths:
            search = self._search((i, j))
            if search.never():
                self._tenths[i, j] = LOWEST - 1
            else:
                near = [self._tenths[part] for part in ((i, j - 1), (i + 1, j)) if part in self._tenths]
                self._highest[i, j] = search.highest(min(near, default=None))
                self._tenths[i, j] = self._highest[i, j].tenths
        return self._tenths[i, j]

    def _length(self, i: int, j: int) -> float:
        return self.order.seconds(self.units[i][0], self.units[j][1])

    # -- the highest level that the worst of so many sides can have ------------------------------------------------

    def _top_of_all(self, sides: int) -> int:
        """Try every place of every break: best[j] is the worst level of the first j units over so many sides."""
        n = len(self.units)
        best = [HIGHEST + 1] + [LOWEST - 1] * n
        for count in range(sides):
            before, best = best, [LOWEST - 1] * (n + 1)
            for j in range(count + 1, n + 1):
                best[j] = max(min(before[i], self._level(i, j - 1)) for i in range(count, j))
        return best[n]

    def _top_by_bisection(self, sides: int) -> int:
        """Halve the range of levels: at each, sides are filled one after the other as far as they hold it."""

        def fits(level: int) -> bool:
            ends = self._filled(level)
            return ends is not None and len(ends) <= sides

        return search_highest(fits, all_levels(halving))

    def _filled(self, level: int) -> list[int] | None:
        """Return the units before which sides end that are as full as a level allows; None where a unit is too much."""
        ends, at, n = list[int](), 0, len(self.units)
        while at < n:
            end = self._longest(at, level)
            if end == at:
                return None
            ends.append(end)
            at = end
        return ends

    def _longest(self, first: int, level: int) -> int:
        """Return the unit before which the longest side from `first` on ends that holds a level; `first` for none."""
        bracket = Bracket(first, len(self.units) + 1, halving)
        return search_highest(lambda end: self._level(first, end - 1) >= level, bracket)

    # -- the best of those breaks that reach it --------------------------------------------------------------------

    def _chosen(self, sides: int, level: int) -> tuple[Interval, ...]:
        """Return the breaks into so many sides that all hold a level: highest sum of levels, then most even lengths."""
        n = len(self.units)
        best: dict[int, tuple[tuple[float, float], tuple[Interval, ...]]] = {0: ((0.0, 0.0), ())}
        for count in range(sides):
            after: dict[int, tuple[tuple[float, float], tuple[Interval, ...]]] = {}
            left = sides - count - 1
            for i, (cost, parts) in best.items():
                for j in range(i, n - left) if left else (n - 1,):
                    if self._level(i, j) < level:
                        if not self.exact:
                            break  # longer ones hold it no better
                        continue
                    gained = float(self._level(i, j)) if self.exact else 0.0
                    now = ((cost[0] - gained, cost[1] + self._length(i, j) ** 2), (*parts, (i, j)))
                    if j + 1 not in after or now[0] < after[j + 1][0]:
                        after[j + 1] = now
            best = after
        return best[n][1]
