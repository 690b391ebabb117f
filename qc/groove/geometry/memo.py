"""What is known of a side already: its numbers by level and polarity, and what repairs were tried.

Nothing in here hangs on a limit but through its own key, so a side whose sound and chain are the same need not be
laid again where only limits differ. It is filled as numbers are worked out; whoever keeps it may give it back later.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from qc.model.quantity import Polarity

MOST_LEVELS = 250
"""Levels, each of one polarity, that are kept: some four searches, and no more than one file of the store takes."""
MOST_TRIALS = 50
"""Trials of repairs that are kept."""


@dataclass(frozen=True, slots=True)
class Worst:
    """A value in SI or as a ratio, the window it is taken over and the worst sector in it (span sectors)."""

    value: float
    sector: int
    start: int
    end: int
    channel: str | None = None


@dataclass(slots=True)
class Numbers:
    """What is known at one level and polarity: the worst of each measurement, the radius (m) after some sectors."""

    worst: dict[str, Worst] = field(default_factory=dict)
    radii: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Trial:
    """A repair that was tried: passages in sectors, the level reached in tenths of a dB, and which limit ends it."""

    passages: tuple[tuple[int, int], ...]
    tenths: int
    by: int | None
    """place of the limit among those that the trial's key names; None: none ends it"""


@dataclass(frozen=True, slots=True)
class AtLevel:
    """`Numbers` as they are kept."""

    level: float
    polarity: Polarity
    worst: tuple[tuple[str, Worst], ...]
    radii: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class Kept:
    """All that is known of a side as it is kept, what was not asked for the longest first."""

    levels: tuple[AtLevel, ...] = ()
    trials: tuple[tuple[str, tuple[Trial, ...]], ...] = ()


class Known:
    """What is known of one side under one chain; whoever works more out puts it in here."""

    def __init__(self, kept: Kept | None = None) -> None:
        kept = kept or Kept()
        self._levels = {
            (one.level, one.polarity): Numbers(dict(one.worst), dict(one.radii)) for one in kept.levels
        }  # fmt: skip
        self._trials = dict(kept.trials)
        self._size = self._count()

    def at(self, level: float, polarity: Polarity) -> Numbers:
        """Give what is known at a level in dB, to be read and added to."""
        numbers = self._levels.pop((level, polarity), None) or Numbers()
        self._levels[level, polarity] = numbers  # now the last
        return numbers

    def trials(self, key: str) -> tuple[Trial, ...] | None:
        """Give what was tried under a key, which names all that it hangs on; None where nothing was."""
        found = self._trials.pop(key, None)
        if found is not None:
            self._trials[key] = found
        return found

    def tried(self, key: str, trials: Iterable[Trial]) -> None:
        """Note what was tried."""
        self._trials[key] = tuple(trials)

    @property
    def grown(self) -> bool:
        """Whether more is known than was given."""
        return self._count() > self._size

    def kept(self) -> Kept:
        """Give it as it is kept: what was asked for last, no more than MOST of either."""
        levels = [
            AtLevel(level, polarity, tuple(numbers.worst.items()), tuple(numbers.radii.items()))
            for (level, polarity), numbers in self._levels.items()
            if numbers.worst
        ]
        return Kept(tuple(levels[-MOST_LEVELS:]), tuple(self._trials.items())[-MOST_TRIALS:])

    def _count(self) -> int:
        return len(self._trials) + sum(len(one.worst) + len(one.radii) for one in self._levels.values())


def contradicts(kept: Kept, other: Kept) -> bool:
    """Whether both name a number at one level, or a trial under one key, and not with the same result."""
    theirs = {(one.level, one.polarity): one for one in other.levels}
    trials = dict(other.trials)
    return any(
        _apart(dict(one.worst), dict(their.worst)) or _apart(dict(one.radii), dict(their.radii))
        for one in kept.levels
        if (their := theirs.get((one.level, one.polarity))) is not None
    ) or _apart(dict(kept.trials), trials)


def _apart(one: Mapping[Any, object], other: Mapping[Any, object]) -> bool:
    return any(one[name] != other[name] for name in one.keys() & other.keys())
