"""Results of a side at each cut level, so that no search computes one twice.

Numbers are small and all of them are kept, also between runs (`LevelMemo`). Arrays are large, so that only those of
the levels asked for last are kept (`Recent`) and others are computed again.

A number depends on the sound, the chain, the level and the polarity, on no limit: a memo filled under one ruleset
serves every other. What a repair wins depends on limits too; its key names them all.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from qc.groove.geometry.worst import NumbersAtLevel, Worst
from qc.model.quantity import Polarity

MOST_LEVELS = 180
"""Levels, each of one polarity, that are stored: some three searches, and no more than one file of the store takes."""
MOST_TRIALS = 50
"""Trials of repairs that are stored."""

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class RepairTrial:
    """A repair that was tried: passages in sectors, the level reached in steps of 0.1 dB, the limit that ends it."""

    passages: tuple[tuple[int, int], ...]
    tenths: int
    by: int | None
    """index of the limit among those that the trial's key names; None: none ends it"""


@dataclass(frozen=True, slots=True)
class StoredNumbers:
    """`NumbersAtLevel` as they are stored; `level` in dB."""

    level: float
    polarity: Polarity
    worst: tuple[tuple[str, Worst], ...]
    radii: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class StoredMemo:
    """A memo as it is stored, what was not asked for the longest first."""

    levels: tuple[StoredNumbers, ...] = ()
    trials: tuple[tuple[str, tuple[RepairTrial, ...]], ...] = ()


class LevelMemo:
    """The numbers of one side under one chain by level and polarity, and the repairs that were tried."""

    def __init__(self, stored: StoredMemo | None = None) -> None:
        stored = stored or StoredMemo()
        self._levels = {
            (numbers.level, numbers.polarity): NumbersAtLevel(dict(numbers.worst), dict(numbers.radii))
            for numbers in stored.levels
        }
        self._trials = dict(stored.trials)
        self._size = self._count()

    def at(self, level: float, polarity: Polarity) -> NumbersAtLevel:
        """Return the numbers at a level in dB, to be read and added to."""
        numbers = self._levels.pop((level, polarity), None) or NumbersAtLevel()
        self._levels[level, polarity] = numbers  # now the last
        return numbers

    def trials(self, key: str) -> tuple[RepairTrial, ...] | None:
        """Return the trials under a key, which names all that they depend on; None where there are none."""
        trials = self._trials.pop(key, None)
        if trials is not None:
            self._trials[key] = trials
        return trials

    def add_trials(self, key: str, trials: Iterable[RepairTrial]) -> None:
        """Note the trials under a key."""
        self._trials[key] = tuple(trials)

    @property
    def grown(self) -> bool:
        """Whether more is in the memo than it was made with."""
        return self._count() > self._size

    def stored(self) -> StoredMemo:
        """Return the memo as it is stored: what was requested last, MOST_LEVELS and MOST_TRIALS at most."""
        levels = [
            StoredNumbers(level, polarity, tuple(numbers.worst.items()), tuple(numbers.radii.items()))
            for (level, polarity), numbers in self._levels.items()
            if numbers.worst
        ]
        return StoredMemo(tuple(levels[-MOST_LEVELS:]), tuple(self._trials.items())[-MOST_TRIALS:])

    def _count(self) -> int:
        return len(self._trials) + sum(len(numbers.worst) + len(numbers.radii) for numbers in self._levels.values())


class Recent(Generic[K, V]):
    """The values asked for last, `size` of them at most; an older one is dropped and computed again when needed."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._values: dict[K, V] = {}

    def get(self, key: K, compute: Callable[[], V]) -> V:
        """Return the value of a key, computed where it is not there; the oldest one is dropped before."""
        if key in self._values:
            self._values[key] = self._values.pop(key)  # now the last
            return self._values[key]
        if len(self._values) >= self._size:
            del self._values[next(iter(self._values))]
        self._values[key] = value = compute()
        return value

    def clear(self) -> None:
        """Drop all values."""
        self._values.clear()


def contradicts(memo: StoredMemo, other: StoredMemo) -> bool:
    """Whether both name a number at one level, or a trial under one key, and not with the same result."""
    theirs = {(numbers.level, numbers.polarity): numbers for numbers in other.levels}
    return any(
        _differ(dict(numbers.worst), dict(their.worst)) or _differ(dict(numbers.radii), dict(their.radii))
        for numbers in memo.levels
        if (their := theirs.get((numbers.level, numbers.polarity))) is not None
    ) or _differ(dict(memo.trials), dict(other.trials))


def _differ(memo: Mapping[Any, object], other: Mapping[Any, object]) -> bool:
    return any(memo[name] != other[name] for name in memo.keys() & other.keys())
