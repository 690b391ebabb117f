"""A track of a side, wherever one is meant: on paper, in the groove, in a report."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Track:
    """A track as declared: number, title, exact start and end in file seconds, and whether a mark follows it."""

    number: int
    title: str
    start: Fraction
    end: Fraction
    mark_after: bool = True
