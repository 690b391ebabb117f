"""Limits on numbers that others compute from the groove: the highest cut level at which each of them holds.

Each level is asked once, and few levels are: the numbers come from plugins, whose time is not ours. The answer relies
on the contract that no number gets better as the level rises, and what was asked is tested against it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from qc.groove.geometry.side import SideGeometry
from qc.groove.level.levels import Reached, excess
from qc.groove.level.rows import LevelRow
from qc.groove.level.search import HIGHEST, LOWEST, Bracket, Trial, straight
from qc.model.quantity import At, Quantity, meets, show

MOST_CALLS = 16
"""Levels at which a side is asked, at most."""
KEPT_BACK = 2
"""Calls that are left for the level the side is judged at, and for the one recommended."""
FIRST = (LOWEST, -120, 0, HIGHEST)
"""Levels that are asked first, 0.1 dB."""
LEAST_TRIED = 8
"""Levels at which numbers are compared with each other, at least."""
FURTHER = (-60, 60, -240, 120, -30, 30, -180, -90)
"""Levels that are asked where the search took fewer, 0.1 dB."""

Numbers = Mapping[str, Quantity]


@dataclass(frozen=True)
class OutsideLimits:
    """The level that each such limit allows alone: at the value that sets the level, and at its warn value.

    `bound` is ">" where the search ended before the level was narrowed down to 0.1 dB: the limit holds at `level`, and
    perhaps higher. Of the limits on one need the lowest is always narrowed down.
    """

    by_limit: Mapping[LevelRow, Reached] = field(default_factory=dict)
    warned: Mapping[LevelRow, Reached] = field(default_factory=dict)
    place: Callable[[str, float], At | None] = lambda *_: None
    """place of a measurement at a level in dB"""
    number: Callable[[str, float], Quantity | None] = lambda *_: None
    """a measurement at a level in dB, evaluated there if it was not; None where that fails"""

    @property
    def ceilings(self) -> dict[LevelRow, int]:
        """The highest level at which each of them holds, 0.1 dB; without those that end above another one."""
        return {row: reached.tenths for row, reached in self.by_limit.items() if reached.bound != ">"}

    @property
    def clean(self) -> list[Reached]:
        """The level up to which each limit does not warn or, where it has no warn value, does not fail."""
        return [self.warned.get(row, reached) for row, reached in self.by_limit.items()]

    def joined(self, other: OutsideLimits) -> OutsideLimits:
        """Return the limits of both."""
        return replace(self, by_limit={**self.by_limit, **other.by_limit}, warned={**self.warned, **other.warned})

    def breaks(self, row: LevelRow, level: float) -> bool:
        """Whether the value that sets the level is exceeded at a level in dB; a number without a value breaks none."""
        value, bound = self.number(row.measure, level), row.setting
        return value is not None and bound is not None and not meets(value.value, bound, row.op, row.unit)


Outside = Callable[[SideGeometry, Sequence[LevelRow]], OutsideLimits]
"""Searches the limits of a side that are on numbers of others."""


def no_limits(*_: object) -> OutsideLimits:
    """Find no limits: an `Outside` for a side without numbers of others."""
    return OutsideLimits()


class OutsideSearch:
    """Searches the limits on the numbers of one owner; `ask` returns its numbers at a cut level in dB."""

    def __init__(self, ask: Callable[[float], Numbers]) -> None:
        self._ask = ask
        self._tried: dict[int, Numbers] = {}

    def reach(self, rows: Iterable[LevelRow]) -> OutsideLimits:
        """Search limits that set the level.

        The level at which all of them hold comes first, for which the calls always suffice; then the one at which none
        warns; then each limit alone, as far as calls are left.

        Raises what `ask` raises, and ValueError with a sentence where a number gets better as the level rises, or has
        a value at some levels only.
        """
        for tenths in FIRST:
            self._at(tenths)
        named = {row: bound for row in rows if (bound := row.setting) is not None}
        measured = {measure for numbers in self._tried.values() for measure in numbers}
        setting = {row: bound for row, bound in named.items() if row.measure in measured}
        warned = {row: row.warn for row in setting if row.warn is not None}
        for together in (setting, warned, *({row: bound} for row, bound in setting.items())):
            self._narrow(together)
        for tenths in FURTHER:
            if len(self._tried) < LEAST_TRIED:
                self._at(tenths)
        for measure, op in dict.fromkeys((row.measure, row.op) for row in named):
            self._test(measure, op)
        return OutsideLimits(self._reached(setting), self._reached(warned))

    def _at(self, tenths: int) -> Numbers:
        """Return the numbers at a level, asked once."""
        if tenths not in self._tried:
            self._tried[tenths] = self._ask(tenths / 10.0)
        return self._tried[tenths]

    @property
    def _left(self) -> int:
        """Calls that are left."""
        return MOST_CALLS - KEPT_BACK - len(self._tried)

    def _narrow(self, limits: Mapping[LevelRow, float]) -> None:
        """Ask for levels until the highest at which all of some limits hold lies between two of them, or none is left.

        Nothing is asked where there are no limits.
        """
        bracket = self._bracket(limits)
        bracket.slow = False
        while limits and bracket.open and self._left > 0:
            tenths = bracket.next
            bracket.narrow(tenths, self._trial(limits, tenths))

    def _bracket(self, limits: Mapping[LevelRow, float]) -> Bracket:
        """Return the bracket that the levels asked so far leave of the highest at which all of some limits hold."""
        bracket = Bracket(LOWEST - 1, HIGHEST + 1, self._guess)
        for tenths in sorted(self._tried):
            if limits and bracket.takes(tenths):
                bracket.narrow(tenths, self._trial(limits, tenths))
        return bracket

    def _reached(self, limits: Mapping[LevelRow, float]) -> dict[LevelRow, Reached]:
        """Return the highest level at which each limit was found to hold."""
        found = {}
        for row, bound in limits.items():
            bracket = self._bracket({row: bound})
            reached = Reached.at(bracket.low, row)
            found[row] = replace(reached, bound=">") if bracket.open else reached
        return found

    def _guess(self, bracket: Bracket) -> int:
        """Return the step on a straight line between the ends, as near to the middle as the calls left require."""
        reach = 1 << max(0, self._left - 1)  # steps that the calls after this one can go through by halving
        lowest, highest = bracket.high - reach, bracket.low + reach
        return min(max(straight(0, 1)(bracket), lowest), highest) if lowest <= highest else bracket.middle

    def _trial(self, limits: Mapping[LevelRow, float], tenths: int) -> Trial:
        """Try limits at a level: they hold if all do, and the excess is the greatest."""
        values = {row: self._value(row.measure, tenths) for row in limits}
        holds = all(meets(values[row], bound, row.op, row.unit) for row, bound in limits.items())
        return Trial(holds, max(excess(values[row], bound, row.op) for row, bound in limits.items()))

    def _value(self, measure: str, tenths: int) -> float:
        """Return a number at a level; raises ValueError where it has no value there."""
        return number_at(self._at(tenths), measure, tenths / 10.0).value

    def _test(self, measure: str, op: str) -> None:
        """Raise ValueError where a number gets better from one level that was asked to the next."""
        if all(measure not in numbers for numbers in self._tried.values()):
            return
        for low, high in pairwise(sorted(self._tried)):
            before, after = self._value(measure, low), self._value(measure, high)
            unit = self._tried[low][measure].unit
            if not meets(before, after, "<=" if op == "<=" else ">=", unit):
                first, second = show(before, unit), show(after, unit)
                if first == second:  # they differ beyond the digits that reports show
                    first, second = f"{before:.12g} {unit}", f"{after:.12g} {unit}"
                raise ValueError(
                    f"{measure} gets better as the level rises, from {first} at {low / 10.0:+.1f} dB to "
                    f"{second} at {high / 10.0:+.1f} dB, so no limit on it can set the level"
                )


def number_at(numbers: Numbers, measure: str, level: float) -> Quantity:
    """Return one of the numbers at a level in dB; raises ValueError where it has no value there."""
    found = numbers.get(measure)
    if found is None:
        raise ValueError(f"{measure} has a value at some cut levels and none at {level:+.1f} dB")
    return found
