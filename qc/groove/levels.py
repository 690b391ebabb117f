"""The level a side can take: judged, recommended and clean, and the level that each limit alone allows.

Every number is the worse of the polarities. The search runs on a grid of 0.1 dB from -40 to +20 dB, by bisection,
since no number improves when the level rises.
"""

from __future__ import annotations

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
    """Judges one side at any level, remembering each level it has worked out."""

    def __init__(self, side: Side, rows: Iterable[LevelRow]) -> None:
        self.side = side
        self.rows = tuple(row for row in rows if row.measure in MEASURES)
        self._cuttings: dict[tuple[float, Polarity], Cutting] = {}

    def cutting(self, level: float, polarity: Polarity) -> Cutting:
        """Give the side as cut at a level and polarity."""
        key = (level, polarity)
        if key not in self._cuttings:
            self._cuttings[key] = Cutting(self.side, level, polarity)
        return self._cuttings[key]

    def worst(self, name: str, level: float) -> tuple[Worst, Polarity]:
        """Give a measurement at a level for its own worse polarity."""
        found = [(self.cutting(level, p).measure(name), p) for p in self.side.polarities]
        worst = found[0]
        for other in found[1:]:
            if is_worse(MEASURES[name], other[0].value, worst[0].value):
                worst = other
        return worst

    def shown(self, name: str, level: float) -> tuple[Worst, Polarity]:
        """Give a measurement as reports place it: where the polarities are equal, on the spiral that travels further."""
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
        radius = self.cutting(level, polarity).spiral.radius
        return self.side.at(start, start + 1 if end is None else end, radius, polarity, worst.channel)

    def holds(self, row: LevelRow, bound: float, level: float) -> bool:
        """Whether a limit holds at a level."""
        worst, _ = self.worst(row.measure, level)
        return meets(worst.value * MEASURES[row.measure].factor, bound, row.op, row.unit)

    def reach(self, row: LevelRow, bound: float) -> Reached:
        """Find the highest level at which one limit holds."""
        if self.holds(row, bound, HIGHEST / 10.0):
            return Reached(HIGHEST / 10.0, ">", row)
        if not self.holds(row, bound, LOWEST / 10.0):
            return Reached(LOWEST / 10.0, "<", row)
        low, high = LOWEST, HIGHEST
        while high - low > 1:
            middle = (low + high) // 2
            if self.holds(row, bound, middle / 10.0):
                low = middle
            else:
                high = middle
        return Reached(low / 10.0, None, row)

    def by_limit(self) -> dict[LevelRow, Reached]:
        """Find what each limit alone allows: at the value that sets the level, else at warn, else at fail."""
        found = {}
        for row in self.rows:
            bound = _first(_setting(row), row.warn, row.fail)
            if bound is not None:
                found[row] = self.reach(row, bound)
        return found

    def recommended(self, by_limit: dict[LevelRow, Reached]) -> Reached:
        """Find the highest level at which every limit that sets the level holds."""
        return _lowest([reached for row, reached in by_limit.items() if row.sets_level])

    def clean(self) -> Reached:
        """Find the highest level at which no warn value is passed."""
        return _lowest([self.reach(row, row.warn) for row in self.rows if row.warn is not None])


def _setting(row: LevelRow) -> float | None:
    return {"warn": row.warn, "fail": row.fail, None: None}[row.sets_level]


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)


def _lowest(reached: Sequence[Reached]) -> Reached:
    """Take the limit that gives out first; where none does, every level is allowed and nothing rules."""
    first = min(reached, key=lambda r: r.level, default=Reached(HIGHEST / 10.0, ">"))
    return replace(first, by=None) if first.bound == ">" else first
