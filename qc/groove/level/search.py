"""The search for a level: the highest step at which a limit holds, between two steps that bracket it.

Every question about a level is asked here: the level a limit allows, the edge of a side, what a repair wins, the least
cut in a band, the order of tracks that takes the most level. The caller says what a step is: 0.1 dB for cut levels,
0.5 dB for a cut in a band; rounding to its own unit is the caller's.

Assumption: a limit that holds at one step holds at every lower one. The answer then depends on the bracket alone, and
guesses only save trials. Without it the answer is still a step at which the limit holds (or the bracket's low end)
right below one at which it does not (or the high end), but which of several such steps depends on the guesses. Groove
numbers are monotonic but for rare sides, by a little: callers that must be sure go on with `step_down`.

Ends: neither end of the bracket is ever tried. The low end counts as a step at which the limit holds, the high end as
one at which it does not. The answer is the low end where nothing in between holds, and the last step below the high
end where everything does.

Memo: within a search no step is tried twice, and limits that are searched together share each trial. What was measured
at a level outlives the search in `qc.groove.level.memo`; the caller's predicate reads and fills that memo.

Errors: an empty bracket is a ValueError; an error of the predicate ends the search and is raised as it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

K = TypeVar("K")

LOWEST, HIGHEST = -400, 200
"""Lowest and highest cut level that is tried, in steps of 0.1 dB: -40 and +20 dB (practice)."""


class Trial(NamedTuple):
    """The outcome of one step: whether the limit holds, and by how much it is exceeded.

    `excess` is 0 at the limit, negative where it holds, in any unit that is nearly linear in the step; 0 where the
    predicate knows no more than the outcome.
    """

    holds: bool
    excess: float = 0.0


@dataclass(slots=True)
class Bracket:
    """The steps between which a limit gives out: it holds at `low`, does not at `high`, and no step between is tried.

    Raises ValueError unless `low < high`.
    """

    low: int
    high: int
    guess: Callable[[Bracket], int]
    """The step to try next; a step outside the open interval is moved to the nearest one inside."""
    ends_first: bool = False
    """Whether the highest step is tried first, then the lowest: for a predicate that may hold at the highest alone."""
    bottom: int = field(init=False)
    top: int = field(init=False)
    """Both ends as they were given."""
    run: int = field(default=0, init=False)
    """Number of trials in a row at which the limit holds; negative: at which it does not; 0 before the first."""
    excess_low: float = field(default=-math.inf, init=False)
    excess_high: float = field(default=math.inf, init=False)
    """By how much the limit is exceeded at `low` and at `high`; infinite where that was not tried."""
    slow: bool = field(default=False, init=False)
    """Whether the last trial left more than half of the steps."""

    def __post_init__(self) -> None:
        if self.low >= self.high:
            raise ValueError(f"an empty bracket: from {self.low} to {self.high}")
        self.bottom, self.top = self.low, self.high

    @property
    def open(self) -> bool:
        """Whether a step is left to try."""
        return self.high - self.low > 1

    @property
    def middle(self) -> int:
        """The step halfway between, rounded down."""
        return (self.low + self.high) // 2

    @property
    def next(self) -> int:
        """The step to try next, inside the bracket."""
        if self.ends_first and self.high == self.top:
            return self.top - 1
        if self.ends_first and self.low == self.bottom:
            return self.bottom + 1
        return min(max(self.guess(self), self.low + 1), self.high - 1)

    def takes(self, step: int) -> bool:
        """Whether the outcome at a step narrows the bracket; while the ends come first, only the highest step does."""
        too_soon = self.ends_first and self.high == self.top and step != self.top - 1
        return self.low < step < self.high and not too_soon

    def narrow(self, step: int, trial: Trial) -> None:
        """Move the end that the outcome at a step replaces."""
        before = self.high - self.low
        if trial.holds:
            self.low, self.excess_low, self.run = step, trial.excess, max(self.run, 0) + 1
        else:
            self.high, self.excess_high, self.run = step, trial.excess, min(self.run, 0) - 1
        self.slow = 2 * (self.high - self.low) > before


def all_levels(guess: Callable[[Bracket], int], *, ends_first: bool = False) -> Bracket:
    """Return the bracket of all cut levels that are tried, in steps of 0.1 dB."""
    return Bracket(LOWEST - 1, HIGHEST + 1, guess, ends_first)


def search_highest(holds: Callable[[int], bool], bracket: Bracket) -> int:
    """Return the highest step of a bracket at which a predicate holds; the bracket's low end where none does."""
    return search_together(lambda _, step: Trial(holds(step)), {None: bracket})[None]


def search_together(attempt: Callable[[K, int], Trial], brackets: Mapping[K, Bracket]) -> dict[K, int]:
    """Return the highest step at which each limit holds, by limit; `attempt` tries one limit at one step.

    The first bracket that is open chooses the step, and every bracket that the step lies in is narrowed by it: what is
    computed at a level serves all limits, and need not be remembered for a later search.
    """
    while still := [limit for limit, bracket in brackets.items() if bracket.open]:
        step = brackets[still[0]].next
        for limit in still:
            if brackets[limit].takes(step):
                brackets[limit].narrow(step, attempt(limit, step))
    return {limit: bracket.low for limit, bracket in brackets.items()}


def step_down(holds: Callable[[int], bool], step: int, lowest: int = LOWEST) -> int:
    """Return the first step at or below `step`, going down one at a time, at which a predicate holds.

    `lowest - 1` where it holds at none down to `lowest`.
    """
    while step >= lowest and not holds(step):
        step -= 1
    return step


# -- guesses -----------------------------------------------------------------------------------------------------


def halving(bracket: Bracket) -> int:
    """Return the middle of a bracket: about log2 of its steps in trials, whatever the answer."""
    return bracket.middle


def doubling(first: int, stride: int = 1) -> Callable[[Bracket], int]:
    """Begin at a first guess, go on by strides that double until the answer is enclosed, then halve.

    Few trials where the answer is near the guess: about twice log2 of the distance, in strides.
    """

    def guess(bracket: Bracket) -> int:
        if bracket.run == 0:
            return first
        reach = stride << (abs(bracket.run) - 1)
        if bracket.high == bracket.top:
            return bracket.low + reach
        return bracket.high - reach if bracket.low == bracket.bottom else bracket.middle

    return guess


def straight(first: int, stride: int) -> Callable[[Bracket], int]:
    """Begin at a first guess, double the distance from it until the answer is enclosed, then follow a straight line.

    The line runs through the excess at both ends of the bracket. Where the last such guess left more than half of the
    steps, or the excess at an end is not finite, the next trial is the middle.
    """

    def guess(bracket: Bracket) -> int:
        low, high = bracket.low, bracket.high
        if low == bracket.bottom and high == bracket.top:
            return first
        if high == bracket.top:
            return low + max(stride, low - first)
        if low == bracket.bottom:
            return high - max(stride, first - high)
        rise = bracket.excess_high - bracket.excess_low
        if bracket.slow or not math.isfinite(rise) or rise <= 0.0:
            return bracket.middle
        return low + math.floor((high - low) * -bracket.excess_low / rise)

    return guess
