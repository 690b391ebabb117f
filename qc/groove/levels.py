"""The level a side can take: judged, recommended and clean, and the level that each limit alone allows.

Every number is the worse of the polarities. The search runs on a grid of 0.1 dB from -40 to +20 dB, by bisection,
since no number improves when the level rises.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from qc.contract import At
from qc.groove.cutting import MEASURES, Cutting, Worst, is_worse, windowed
from qc.groove.rows import LevelRow
from qc.groove.side import Side
from qc.quantity import Polarity, Quantity, meets

LOWEST, HIGHEST = -400, 200
"""Ends of the search in tenths of a dB."""

Wanted = tuple[LevelRow, float]
"""A limit and the value it is searched at."""


@dataclass(frozen=True, slots=True)
class Reached:
    """A cut level in dB; `bound` when the search ended at one of its ends."""

    level: float
    bound: Literal["<", ">"] | None = None
    by: LevelRow | None = None

    def quantity(self) -> Quantity:
        """Give it as a report does."""
        return Quantity(value=self.level, unit="dB", bound=self.bound)


class LevelSearch:
    """Judges one side at any level."""

    def __init__(self, side: Side, rows: Iterable[LevelRow]) -> None:
        self.side = side
        self.rows = tuple(row for row in rows if row.measure in MEASURES)
        self._cuttings: dict[float, dict[Polarity, Cutting]] = {}
        self._holding = math.nan  # level whose arrays are held

    def forget(self) -> None:
        """Let go of all arrays, not of what was found; they are worked out again when they are asked for."""
        for one in self._cuttings.get(self._holding, {}).values():
            one.forget()

    def cutting(self, level: float, polarity: Polarity) -> Cutting:
        """Give the side as cut at a level and polarity.

        What was found at a level is remembered; the arrays, which are large, are held for the last level only.
        """
        if level not in self._cuttings:
            self._cuttings[level] = {one: Cutting(self.side, level, one) for one in self.side.polarities}
        if level != self._holding:
            self.forget()
            self._holding = level
        return self._cuttings[level][polarity]

    def worst(self, name: str, level: float) -> tuple[Worst, Polarity]:
        """Give a measurement at a level for its own worse polarity."""
        found = [(self.cutting(level, p).measure(name), p) for p in self.side.polarities]
        worst = found[0]
        for other in found[1:]:
            if is_worse(MEASURES[name], other[0].value, worst[0].value):
                worst = other
        return worst

    def shown(self, name: str, level: float) -> tuple[Worst, Polarity]:
        """Give a measurement as reports place it: of equal polarities, on the spiral that travels further."""
        further = self.worst("groove.travel", level)[1]
        other = self.cutting(level, further).measure(name)
        worst, polarity = self.worst(name, level)
        return (other, further) if other.value == worst.value else (worst, polarity)

    def quantity(self, name: str, level: float) -> Quantity:
        """Give a measurement as a report does, with the sector where it is worst."""
        worst, polarity = self.shown(name, level)
        measure = MEASURES[name]
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
        measure = MEASURES[row.measure]
        values: Iterable[float] = (
            self.cutting(level, p).measure(row.measure).value for p in self.side.polarities
        )  # one after the other: the second spiral is not laid where the first breaks the limit
        if row.op != measure.op:  # it is the worse one that counts, and for such a limit it may be the one that holds
            values = [self.worst(row.measure, level)[0].value]
        return all(meets(value * measure.factor, bound, row.op, row.unit) for value in values)

    def reach(self, wanted: Iterable[Wanted]) -> dict[Wanted, Reached]:
        """Find the highest level at which each limit holds by itself.

        All searches go in step: a level that is worked out for one narrows every other that it lies inside of,
        so that no level is worked out twice and none has to be remembered.
        """
        span = dict.fromkeys(wanted, (LOWEST - 1, HIGHEST + 1))  # holds at the first, does not at the second
        while still := [want for want, (low, high) in span.items() if high - low > 1]:
            low, high = span[still[0]]
            middle = _middle(low, high)
            for want in still:
                low, high = span[want]
                if low < middle < high:
                    span[want] = (middle, high) if self.holds(want, middle / 10.0) else (low, middle)
        return {want: _reached(want[0], low) for want, (low, _) in span.items()}

    def allowed(self) -> tuple[dict[LevelRow, Reached], Reached, Reached]:
        """Find what each limit alone allows, the recommended level and the clean level.

        A limit is taken at the value that sets the level, else at warn, else at fail; recommended is the lowest of
        those that set the level, clean the lowest at which a warn value is reached.
        """
        single = {row: bound for row in self.rows if (bound := _first(row.setting, row.warn, row.fail)) is not None}
        warned = {row: row.warn for row in self.rows if row.warn is not None}
        reached = self.reach([*single.items(), *warned.items()])
        by_limit = {row: reached[row, bound] for row, bound in single.items()}
        recommended = _lowest([by_limit[row] for row in single if row.sets_level])
        return by_limit, recommended, _lowest([reached[want] for want in warned.items()])


def _middle(low: int, high: int) -> int:
    """Try the ends of the search first, then halve."""
    if high > HIGHEST:
        return HIGHEST
    return LOWEST if low < LOWEST else (low + high) // 2


def _reached(row: LevelRow, low: int) -> Reached:
    if low < LOWEST:
        return Reached(LOWEST / 10.0, "<", row)
    return Reached(low / 10.0, ">" if low == HIGHEST else None, row)


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)


def _lowest(reached: Sequence[Reached]) -> Reached:
    """Take the limit that gives out first; where none does, every level is allowed and nothing rules."""
    first = min(reached, key=lambda r: (r.level, r.bound != "<"), default=Reached(HIGHEST / 10.0, ">"))
    return replace(first, by=None) if first.bound == ">" else first
