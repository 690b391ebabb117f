"""The cut level that each side of a disc is judged at: the release level of the disc, unless one was requested.

Both sides of a disc are cut alike, so the free sides of a disc are judged at one level: the lowest recommended level
among them. A side with a level of its own keeps it and lowers no other; nor does a side that could not be measured, or
that fits at no level.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

from qc.groove.level.levels import Reached

T = TypeVar("T")
Basis = Literal["requested", "release", "recommended", "clean", "given"]
"""Origin of the level that a side is judged at: its cut_level, its disc, itself, or a level given by number."""
LevelOption = Literal["release", "recommended", "clean"] | float
"""The level that a run asks for instead: one of the computed levels, or a level in dB."""
SIDES_OF_A_DISC = 2


@dataclass(frozen=True, slots=True)
class SideLevels:
    """The levels that one side brings to the decision, dB; `recommended` is None where it could not be measured."""

    side: str
    requested: float | None = None
    """its cut_level"""
    recommended: Reached | None = None
    clean: Reached | None = None


@dataclass(frozen=True, slots=True)
class JudgedLevel:
    """The level a side is judged at, dB, and why; `requested` is the level that was requested, None where none was."""

    level: float
    basis: Basis
    release: Reached | None = None
    """the release level of its disc; None where there is none"""
    requested: float | None = None


def by_discs(sides: Sequence[T]) -> Iterator[tuple[T, ...]]:
    """Yield the sides of each disc: two by two in the delivery's order, a last odd one alone."""
    for first in range(0, len(sides), SIDES_OF_A_DISC):
        yield tuple(sides[first : first + SIDES_OF_A_DISC])


@dataclass(frozen=True)
class DiscDecision:
    """The decision at which levels the sides of one disc are judged.

    `each` judges every free side at its own recommended level. An `option` beats that, and every requested level; the
    option `release` counts every side as free.
    """

    sides: tuple[SideLevels, ...]
    option: LevelOption | None = None
    each: bool = False

    @property
    def deciding(self) -> tuple[SideLevels, ...]:
        """The sides whose recommended levels the release level is the lowest of; none where each is judged by itself.

        A side that fits at no level is not among them: it has no level that another could be cut at.
        """
        if not self.shared:
            return ()
        return tuple(side for side in self.sides if self.is_free(side.requested) and _fits(side))

    @property
    def shared(self) -> bool:
        """Whether the free sides of the disc are judged at one level."""
        return not self.each or self.option == "release"

    def is_free(self, requested: float | None) -> bool:
        """Whether a side with this cut_level takes part in the decision, if it can be measured."""
        return requested is None or self.option == "release"

    @property
    def ruling(self) -> SideLevels | None:
        """The side with the lowest recommended level, of equal ones the first; None where no side decides."""
        return min(self.deciding, key=_recommended, default=None)

    @property
    def release(self) -> Reached | None:
        """The release level."""
        return None if self.ruling is None else self.ruling.recommended

    @property
    def unmeasured(self) -> tuple[str, ...]:
        """Free sides that could not be measured, and so are left out."""
        return tuple(side.side for side in self.sides if self._left_out(side) and side.recommended is None)

    @property
    def unfit(self) -> tuple[str, ...]:
        """Free sides that fit at no level, and so are left out."""
        return tuple(side.side for side in self.sides if self._left_out(side) and side.recommended is not None)

    def _left_out(self, side: SideLevels) -> bool:
        return self.shared and self.is_free(side.requested) and not _fits(side)

    def level_of(self, side: SideLevels) -> JudgedLevel | None:
        """Return the level a side of the disc is judged at; None where it was not measured and none is given for it."""
        release = self.release
        if isinstance(self.option, int | float):
            return JudgedLevel(self.option, "given", release, self.option)
        if side.recommended is None:
            return None
        if self.option == "clean" and side.clean is not None:
            return JudgedLevel(side.clean.level, "clean", release, side.clean.level)
        if self.option is None and side.requested is not None:
            return JudgedLevel(side.requested, "requested", release, side.requested)
        shares = release is not None and _fits(side) and self.option != "recommended"
        level = release.level if release is not None and shares else side.recommended.level
        requested = None if self.option is None else level
        return JudgedLevel(level, "release" if shares else "recommended", release, requested)


def _fits(side: SideLevels) -> bool:
    return side.recommended is not None and side.recommended.bound != "<"


def _recommended(side: SideLevels) -> float:
    assert side.recommended is not None  # only sides that fit are compared
    return side.recommended.level
