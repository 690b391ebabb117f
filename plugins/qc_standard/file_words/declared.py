"""The parts of a delivery that a file may speak of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight")


@dataclass(frozen=True, slots=True)
class ListedTrack:
    """A track of the delivery; texts are empty where it states none."""

    index: int
    """in the list of its side, from 0"""
    number: int
    title: str
    isrc: str
    """letters and digits alone"""
    start: float | None
    file: str


@dataclass(frozen=True, slots=True)
class ListedSide:
    """A side of the delivery."""

    id: str
    file: str
    """empty where each track has a file of its own"""
    tracks: tuple[ListedTrack, ...]
    transferred_on: str
    approvals: tuple[tuple[str, str], ...]
    """who approved it, and the day"""

    @classmethod
    def of(cls, declared: Mapping[str, Any]) -> Self:
        """Read the entry of a side."""
        source = declared.get("source", {})
        tracks = (
            ListedTrack(
                index=index,
                number=int(track["number"]),
                title=str(track.get("title", "")),
                isrc=str(track.get("isrc", "")).replace("-", "").upper(),
                start=None if track.get("start") is None else float(track["start"]),
                file=str(track.get("audio", "")),
            )
            for index, track in enumerate(declared.get("tracks", ()))
        )
        return cls(
            str(declared["id"]),
            str(declared.get("audio", "")),
            tuple(tracks),
            str(source.get("transferred_on", "")),
            tuple((str(it["by"]), str(it["on"])) for it in source.get("approvals", ())),
        )

    @property
    def number(self) -> int | None:
        """Place among the sides of a release, from 1; None for an id that is neither letter nor number."""
        return number_of_side(self.id)


def number_of_side(name: str) -> int | None:
    """Return the number of a side that is named by a letter, a digit or a word; None for any other name."""
    name = name.casefold()
    if name in _NUMBERS:
        return _NUMBERS.index(name) + 1
    if len(name) == 1 and "a" <= name <= "z":
        return ord(name) - ord("a") + 1
    return int(name) if len(name) == 1 and name in "123456789" else None


@dataclass(frozen=True, slots=True)
class ListedRecord:
    """A delivery: its title, its catalogue number, its sides."""

    title: str
    catalogue: str
    series: str
    sides: tuple[ListedSide, ...]

    def others(self, side: ListedSide) -> tuple[ListedSide, ...]:
        """Return all sides but one."""
        return tuple(other for other in self.sides if other is not side)
