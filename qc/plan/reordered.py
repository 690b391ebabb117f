"""Another order of the tracks inside a side, and what it wins: quieter and duller ones last, as far as is needed.

At a given level each track either holds its limits behind a given travel or does not, and the further in it begins
the worse. The last place therefore goes to a track that holds there, the place before it to another, and so on: if
this finds no order, there is none. What turns at the seams of tracks share is left out of that, so the order found is
then searched as a whole, and that level counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qc.groove.geometry.cut import OF_LOUDNESS, Cutting
from qc.groove.geometry.span import LEAST_GAP
from qc.groove.geometry.traces import OF_TRAVEL
from qc.groove.level.highest import Highest, HighestSearch, keeps
from qc.groove.level.memo import Recent
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.groove.level.search import Bracket, doubling, search_highest
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from qc.plan.running_order import JOIN, RunningOrder

WHOLE = frozenset({*OF_TRAVEL, "groove.travel_least", *OF_LOUDNESS})
"""Numbers of a side that hardly change with the order of its tracks."""
Unit = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Reordered:
    """An order of the pieces of a side, as indices, with its level; the order given where no other wins anything."""

    pieces: tuple[int, ...]
    given: Highest
    highest: Highest

    @property
    def wins(self) -> float:
        """Gain in level, dB; at the least where the order given fits at no level of the search."""
        reached, before = (round(10.0 * level.reached.level) for level in (self.highest, self.given))
        return (reached - before) / 10.0


def reordered(
    order: RunningOrder, chain: Chain, rows: Sequence[LevelRow], first: int, last: int, given: Highest,
    policy: LevelPolicy = EDGE,
) -> Reordered:  # fmt: skip
    """Look for a better order of the pieces from `first` to `last`, whose own order comes to `given`."""
    as_given = Reordered(tuple(range(first, last + 1)), given, given)
    units = [unit for unit in order.units if first <= unit[0] and unit[1] <= last]
    search = HighestSearch(order.side(chain, first, last), rows)
    by = given.reached.by
    if len(units) < 2 or by is None or by.measure in WHOLE or search.ceiling <= given.tenths:
        return as_given
    tracks = [_Track(order, chain, rows, unit) for unit in units]
    orders: dict[int, list[Unit]] = {}

    def holds(tenths: int) -> bool:
        placed = _placed(tracks, tenths)
        if placed is not None:
            orders[tenths] = placed
        return placed is not None

    tenths = search_highest(holds, Bracket(given.tenths, search.ceiling + 1, doubling(given.tenths + 1, stride=2)))
    if tenths == given.tenths:
        return as_given
    found = orders[tenths]
    again = order.rearranged(found)
    highest = HighestSearch(again.side(chain, 0, len(again.pieces) - 1), rows, policy=policy).highest(tenths)
    if highest.tenths <= given.tenths:
        return as_given
    return Reordered(tuple(i for begin, end in found for i in range(begin, end + 1)), given, highest)


class _Track:
    """One track, or tracks that run on, with a spiral of its own, judged by its limits behind what others travel."""

    def __init__(self, order: RunningOrder, chain: Chain, rows: Sequence[LevelRow], unit: Unit) -> None:
        self.unit = unit
        self._search = HighestSearch(order.side(chain, *unit), rows)
        self._cuttings: Recent[int, tuple[Cutting, ...]] = Recent(1)
        square = self._search.side.envelopes.a_square
        self.drive = float(np.sqrt(square.mean(axis=1).max()))
        """of the whole track, for 1 m/s at 0 dBFS: what is loud and bright has much of it"""
        self.gap = _gap(order, chain, unit)
        """m that the gap behind it travels"""

    def travel(self, level: int) -> float:
        """Travel at a level in tenths of a dB, m."""
        return max(cutting.spiral_path.travel for cutting in self._cuttings_at(level))

    def holds(self, level: int, behind: float) -> bool:
        """Whether its limits hold at a level when so many m of travel lie before it."""
        if level > self._search.ceiling:
            return False
        limits = [want for want in self._search.of_spiral if want[0].measure not in WHOLE]
        for cutting in self._cuttings_at(level):
            inner = Cutting(cutting.side, cutting.level, cutting.polarity)
            inner.spiral_path = replace(cutting.spiral_path, radius=cutting.spiral_path.radius - behind)
            if not all(keeps(want, inner) for want in limits):
                return False
        return True

    def _cuttings_at(self, level: int) -> tuple[Cutting, ...]:
        side, spirals = self._search.side, self._search.spirals
        return self._cuttings.get(level, lambda: tuple(spirals.cutting(side, level, p) for p in side.polarities))


def _gap(order: RunningOrder, chain: Chain, unit: Unit) -> float:
    piece, after = order.pieces[unit[1]], order.pieces[unit[1] + 1 : unit[1] + 2]
    sectors = max(0, after[0].first - piece.last) if after else JOIN
    turns = sectors / chain.disc.sectors_a_turn
    marked = piece.mark_after and sectors > LEAST_GAP * SECTORS_A_SECOND
    plain = turns * (chain.cut.top_width + chain.cut.land)
    return max(plain, chain.disc.mark_width) if marked else plain


def _placed(tracks: Sequence[_Track], level: int) -> list[Unit] | None:
    """Fill the places from the last to the first, the quietest and dullest that holds there; None where none does."""
    left = sorted(tracks, key=lambda track: track.drive)
    travels = {track.unit: track.travel(level) for track in left}
    order: list[Unit] = []
    while left:
        for track in left:
            before = [other for other in left if other is not track]
            if track.holds(level, sum(travels[other.unit] + other.gap for other in before)):
                order.insert(0, track.unit)
                left = before
                break
        else:
            return None
    return order
