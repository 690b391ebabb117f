"""The recommended level by itself, from a few spirals; `LevelSearch.allowed` finds it with much else.

The level is the same to the tenth of a dB, and so is the limit that rules. Limits that need no spiral are searched
first; then a level is guessed from the travels computed so far, and tried with the step above it. Discs of
one speed have the same spirals whatever their diameters, and share them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from qc.groove.geometry.cut import DIAMETER, FOLLOWING, OF_MINUTES, ROOM, Cutting, ends_at, measurable
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.spiral import SpiralPath
from qc.groove.level.levels import Reached, Wanted, below
from qc.groove.level.memo import Recent
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.groove.level.search import HIGHEST, LOWEST, Bracket, all_levels, doubling, search_highest, step_down
from qc.model.cutting_chain import Chain
from qc.model.quantity import Polarity, meets

RECENT = 4
"""Levels whose spirals are kept at once."""
STRIDE = 4
"""First stride of a search that no travel guides, 0.1 dB."""
MISSES = 3
"""Trials in a row with one outcome after which a search no longer follows the travel."""
NEAR = -30
"""First guess at the level of a side of which nothing is computed yet, 0.1 dB."""
SLACK = 1e-5
"""m by which a diameter may be short of its limit, and more."""


@dataclass(frozen=True, slots=True)
class Highest:
    """The recommended level, and where the side ends there, in m.

    `edge` is the highest level at which every limit that sets the level holds; the policy of the ruleset says how far
    below it the recommended one, `reached`, lies.
    """

    reached: Reached
    last_diameter: float
    travel: float
    edge: Reached

    @property
    def tenths(self) -> int:
        """The edge in tenths of a dB; below the lowest of the search where nothing holds."""
        return self.edge.tenths


class _BeforeSpiral(Cutting):
    """A side without its spiral; a measurement that needs the spiral raises `_NeedsSpiralError`."""

    @cached_property
    def spiral_path(self) -> SpiralPath:
        raise _NeedsSpiralError


class _NeedsSpiralError(Exception):
    pass


class SharedSpirals:
    """The spirals of one span under one cut at one speed, whatever the diameters; shared between searches."""

    def __init__(self, side: SideGeometry) -> None:
        self.side = side
        self.travels: dict[int, float] = {}
        """tenths of a dB -> travel in m, of the polarities whose spirals were computed"""
        self._recent: Recent[tuple[int, Polarity], tuple[float, SpiralPath]] = Recent(2 * RECENT)
        """with the outer diameter, m, that the radii are counted from"""
        self._flat: dict[Wanted, int | None] = {}

    @staticmethod
    def key(chain: Chain) -> tuple[object, ...]:
        """Return the values that two chains must have in common to share spirals."""
        return chain.cut, chain.disc.speed, chain.disc.mark_width

    def cutting(self, side: SideGeometry, tenths: int, polarity: Polarity) -> Cutting:
        """Return a side of this span, on a disc of its own, as cut at a level in tenths of a dB."""
        cutting = Cutting(side, tenths / 10.0, polarity)
        outer = side.chain.disc.outer

        def computed() -> tuple[float, SpiralPath]:
            path = cutting.spiral_path
            self.travels[tenths] = max(path.travel, self.travels.get(tenths, 0.0))
            return outer, path

        counted, path = self._recent.get((tenths, polarity), computed)
        further = (outer - counted) / 2.0
        cutting.spiral_path = replace(path, radius=path.radius + further) if further else path
        return cutting

    def flat(self, want: Wanted) -> int | None:
        """Return the highest tenth of a dB at which a limit without need of a spiral holds; None for others.

        None also for the table of minutes: the spirals are shared by discs of several sizes.
        """
        if want[0].measure in OF_MINUTES:
            return None
        if want not in self._flat:
            try:
                self._flat[want] = self._searched(want)
            except _NeedsSpiralError:
                self._flat[want] = None
        return self._flat[want]

    def _searched(self, want: Wanted) -> int:
        """Search from the level that a number in step with the gain would allow; exact for any that rises."""
        row, bound = want

        def holds(tenths: int) -> bool:
            cuttings = (_BeforeSpiral(self.side, tenths / 10.0, polarity) for polarity in self.side.polarities)
            return all(keeps(want, cutting) for cutting in cuttings)

        value = max(_BeforeSpiral(self.side, 0.0, p).measure(row.measure).value for p in self.side.polarities)
        ratio = bound / (value * FOLLOWING[row.measure].factor) if value > 0.0 else 0.0
        guess = int(np.clip(200.0 * np.log10(ratio), LOWEST, HIGHEST)) if ratio > 0.0 else HIGHEST
        return search_highest(holds, all_levels(doubling(guess)))


def keeps(want: Wanted, cutting: Cutting) -> bool:
    """Whether a limit holds at the level and polarity of a cutting."""
    row, bound = want
    value = cutting.measure(row.measure).value * FOLLOWING[row.measure].factor
    return meets(value, bound, row.op, row.unit)


def wanted(rows: Iterable[LevelRow], side: SideGeometry) -> tuple[Wanted, ...]:
    """Return the limits that set the level of a side, each with the value that sets it."""
    pairs = ((row, row.setting) for row in rows if row.measure in FOLLOWING and measurable(row.measure, side))
    return tuple((row, bound) for row, bound in pairs if bound is not None)


class HighestSearch:
    """Searches one side on one disc; `spirals` may be shared with others of the same `SharedSpirals.key`.

    `ceilings` are the highest tenths of a dB at which limits hold that are searched elsewhere.
    """

    def __init__(
        self, side: SideGeometry, rows: Iterable[LevelRow], spirals: SharedSpirals | None = None,
        policy: LevelPolicy = EDGE, ceilings: Mapping[LevelRow, int] | None = None,
    ) -> None:  # fmt: skip
        self.side, self.policy = side, policy
        self._ceilings = ceilings or {}
        self.spirals = spirals or SharedSpirals(side)
        self.wanted = wanted(rows, side)
        self._order = list(side.polarities)
        flat = {want: self.spirals.flat(want) for want in self.wanted}
        levels = (*(level for level in flat.values() if level is not None), *self._ceilings.values())
        self.ceiling = min(levels, default=HIGHEST)
        """tenths of a dB above which a limit does not hold that needs no spiral"""
        spiral = [want for want in self.wanted if flat[want] is None]
        self.of_spiral = sorted(spiral, key=lambda want: want[0].measure not in {DIAMETER, ROOM})
        """limits that need the spiral, the cheapest first"""
        cut, disc = side.chain.cut, side.chain.disc
        ends = [end for row, bound in spiral if (end := ends_at(row.measure, bound, disc)) is not None]
        self._room = disc.outer / 2.0 - max(ends) / 2.0 if ends else None
        self._silence = side.span.sectors * (cut.top_width + cut.land) / disc.sectors_a_turn
        """travel in m of an unmodulated groove, than which no sector advances less"""

    def highest(self, near: int | None = None) -> Highest:
        """Search from a guess in tenths of a dB; the guess costs or saves spirals and changes nothing else."""
        near = self.ceiling if near is None else near
        wider = doubling(near, STRIDE)

        def guess(bracket: Bracket) -> int:
            predicted = self._predicted()
            if predicted is None or abs(bracket.run) >= MISSES:
                return wider(bracket)
            if bracket.run == 0:
                return min(near, predicted)
            if predicted == bracket.low:
                return bracket.low + 1  # the last one that was expected to hold does
            return predicted if bracket.low < predicted < bracket.high else wider(bracket)

        high = LOWEST if self.never() else self.ceiling + 1
        return self._found(search_highest(self.holds, Bracket(LOWEST - 1, high, guess)))

    def holds(self, tenths: int) -> bool:
        """Whether every limit holds at a level; ends at the first that does not."""
        if tenths > self.ceiling:
            return False
        for polarity in tuple(self._order):
            cutting = self.spirals.cutting(self.side, tenths, polarity)
            if not all(keeps(want, cutting) for want in self.of_spiral):
                self._order.sort(key=lambda other: other != polarity)  # the one that gives out first
                return False
        return True

    def never(self) -> bool:
        """Whether even silence would run in too far; no spiral is needed for that."""
        return self._room is not None and self._silence > self._room + SLACK

    def _predicted(self) -> int | None:
        """Guess the last tenth of a dB at which the last diameter holds from the travels computed so far.

        What a side travels beyond silence is taken to go with the gain, as excursions do.
        """
        if self._room is None or not self.spirals.travels:
            return None
        travels = sorted(self.spirals.travels.items())
        levels = [level for level, _ in travels]
        beyond = [math.log(max(1e-9, travel - self._silence)) for _, travel in travels]
        room = math.log(max(1e-9, self._room - self._silence))
        if beyond[0] <= room <= beyond[-1]:
            return math.floor(np.interp(room, beyond, levels))
        index = 0 if room < beyond[0] else -1
        return math.floor(levels[index] + (room - beyond[index]) * 200.0 / math.log(10.0))

    def _found(self, low: int) -> Highest:
        found = self._kept_to(low)
        edge = Reached.at(found, self._ruling(found + 1) if found < HIGHEST else None)
        reached = below(edge, self.policy)
        if reached != edge:
            tenths = round(10.0 * reached.level)
            lower = self._kept_to(tenths)
            reached = reached if lower == tenths else replace(reached, level=max(lower, LOWEST) / 10.0)
        cuttings = self._cuttings(round(10.0 * reached.level))
        travel = max(cutting.spiral_path.travel for cutting in cuttings)
        ends = min(cutting.measure(DIAMETER).value for cutting in cuttings)
        return Highest(reached, ends, travel, edge)

    def _cuttings(self, tenths: int) -> list[Cutting]:
        return [self.spirals.cutting(self.side, tenths, polarity) for polarity in self.side.polarities]

    def _kept_to(self, tenths: int) -> int:
        """Go down from a level until all limits hold that set it: numbers are nearly, not quite, monotonic."""

        def holds(tenths: int) -> bool:
            return all(keeps(want, cutting) for cutting in self._cuttings(tenths) for want in self.wanted)

        return step_down(holds, tenths)

    def _ruling(self, tenths: int) -> LevelRow | None:
        """Return the first limit, in the order of the rows, that does not hold at a level."""
        cuttings = self._cuttings(tenths)
        for want in self.wanted:
            if not all(keeps(want, cutting) for cutting in cuttings):
                return want[0]
        return next((row for row, highest in self._ceilings.items() if highest < tenths), None)


def highest(side: SideGeometry, rows: Sequence[LevelRow], near: int = NEAR, policy: LevelPolicy = EDGE) -> Highest:
    """Search one side by itself."""
    return HighestSearch(side, rows, policy=policy).highest(near)
