"""The recommended level under other replay tips: what a search under each would find, from one that was made.

A tip moves the limits on tracing and sibilance alone. What every other limit allows is taken from the search that was
made, and the spirals are the same under each tip, so that a tip costs a few trials of those limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from qc.groove.geometry.cut import FOLLOWING, Cutting
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.time_shares import TIMES
from qc.groove.level.highest import Highest, HighestSearch, SharedSpirals, keeps, wanted
from qc.groove.level.levels import LevelSearch, Reached, Wanted, below
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.groove.level.search import HIGHEST, LOWEST, Bracket, doubling, search_highest
from qc.model.cutting_chain import Chain, NamedTip

OF_TIP = frozenset(
    {"groove.tracing_ratio_peak", "groove.tracing_ratio_share", "groove.sibilance_share"}
    | {name for name, share in TIMES.items() if not share.slope}
)
"""Measurements that depend on the radius of the chain's tip."""
HEADROOM = 10
"""Steps of 0.1 dB by which a limit must hold to be taken to hold at a lower level too: more than a spiral shifts it."""


def with_tip(chain: Chain, radius: float) -> Chain:
    """Return a chain whose tip has another radius along the groove, m."""
    return replace(chain, playback=replace(chain.playback, tip_radius=radius))


def enters(chain: Chain, tip: NamedTip) -> bool:
    """Whether a tip touches the walls of an unmodulated groove, root two of its radius apart, and not its edges."""
    return math.sqrt(2.0) * max(tip.along, tip.across or 0.0) <= chain.cut.top_width


class TipSearch:
    """Searches one side under other tips; `search` is the one under its own, `by_limit` what each limit allows alone.

    `by_limit` is the first of the results of `LevelSearch.allowed`.
    """

    def __init__(self, search: LevelSearch, by_limit: Mapping[LevelRow, Reached], policy: LevelPolicy = EDGE) -> None:
        self._search, self._policy = search, policy
        self._spirals = SharedSpirals(search.side)
        self._wanted = wanted(search.rows, search.side)
        self._alone = {want: by_limit[want[0]].tenths for want in self._wanted}
        fixed = [want for want in self._wanted if want[0].measure not in OF_TIP]
        self._outside = {
            row: reached.tenths
            for row, reached in by_limit.items()
            if row.sets_level and row.measure not in FOLLOWING and reached.bound != ">"
        }
        """limits on numbers of plugins, which are asked under the chain's own tip alone"""
        self._ceiling = min((*(self._alone[want] for want in fixed), *self._outside.values()), default=HIGHEST)
        """tenths of a dB above which a limit does not hold that no tip moves"""
        self._moving = [want for want in self._wanted if want[0].measure in OF_TIP]

    def highest(self, radius: float) -> Highest:
        """Search the level under a tip of another radius along the groove, m."""
        own = self._search.side.chain
        side = self._search.side.under(with_tip(own, radius))
        tip = _UnderTip(side, self._spirals)
        further = math.floor(-200.0 * math.log10(radius / own.playback.tip_radius))
        alone = {want: tenths + further * (want in self._moving) for want, tenths in self._alone.items()}
        order = sorted(self._moving, key=lambda want: alone[want])
        low = self._ceiling
        if order and low >= LOWEST:
            near = self._guess(tip, order[0], alone[order[0]])
            bracket = Bracket(LOWEST - 1, self._ceiling + 1, doubling(near))
            low = search_highest(lambda tenths: tip.keeps(order, tenths), bracket)
        edge = Reached.at(low, self._ruling(tip, low))
        reached = below(edge, self._policy)
        close = [want for want in self._wanted if alone[want] - reached.tenths < HEADROOM]
        if reached.bound == "<" or not tip.keeps(close, reached.tenths):
            # a limit that holds higher up does not here, or none holds anywhere: searched like any other side
            return HighestSearch(side, self._search.rows, self._spirals, self._policy, self._outside).highest(low)
        return Highest(reached, tip.last_diameter(reached.tenths), tip.travel(reached.tenths), edge)

    def _guess(self, tip: _UnderTip, want: Wanted, tenths: int) -> int:
        """Refine a guess at what a limit allows, which took the groove to lie where it lies under the own tip.

        The ratio goes with one over the square of the radius where the limit is worst, and more level leaves less.
        """
        own, least = self._alone[want], self._search.side.chain.disc.finishing / 2.0
        worst, polarity = self._search.worst(want[0].measure, own / 10.0)
        before = max(self._search.cutting(own / 10.0, polarity).radius_at(worst.sector), least)
        guess = min(tenths, self._ceiling)
        for _ in range(2):
            at = max(tip.cuttings(max(guess, LOWEST))[0].radius_at(worst.sector), least)
            guess = min(math.floor(tenths + 400.0 * math.log10(at / before)), self._ceiling)
        return guess

    def _ruling(self, tip: _UnderTip, low: int) -> LevelRow | None:
        """Return the first limit, in the order of the rows, that does not hold right above a level."""
        if low >= HIGHEST:
            return None
        for want in self._wanted:
            moves = want[0].measure in OF_TIP
            if not tip.keeps([want], low + 1) if moves else self._alone[want] == low:
                return want[0]
        return next((row for row, tenths in self._outside.items() if tenths == low), None)


class _UnderTip:
    """One side under one tip, tried at levels in tenths of a dB."""

    def __init__(self, side: SideGeometry, spirals: SharedSpirals) -> None:
        self._side, self._spirals = side, spirals
        self._kept: dict[tuple[Wanted, int], bool] = {}

    @property
    def radius(self) -> float:
        """Radius of the tip along the groove, m."""
        return self._side.chain.playback.tip_radius

    def cuttings(self, tenths: int) -> list[Cutting]:
        """Return the side as cut at a level, for each polarity that is judged."""
        return [self._spirals.cutting(self._side, tenths, polarity) for polarity in self._side.polarities]

    def keeps(self, wants: Sequence[Wanted], tenths: int) -> bool:
        """Whether all of some limits hold at a level; ends at the first that does not."""
        return all(self._keeps(want, tenths) for want in wants)

    def _keeps(self, want: Wanted, tenths: int) -> bool:
        if (want, tenths) not in self._kept:
            self._kept[want, tenths] = all(keeps(want, cutting) for cutting in self.cuttings(tenths))
        return self._kept[want, tenths]

    def last_diameter(self, tenths: int) -> float:
        """Return the diameter at which the side ends, m."""
        return min(cutting.measure("groove.last_diameter").value for cutting in self.cuttings(tenths))

    def travel(self, tenths: int) -> float:
        """Return the distance from the first groove to the last, m."""
        return max(cutting.spiral_path.travel for cutting in self.cuttings(tenths))
