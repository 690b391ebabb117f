"""The one model of a track, shared by deliveries, the groove and reports."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Track:
    """A declared track: number, title, exact start and end in file seconds, whether a visible mark follows it."""

    number: int
    title: str
    start: Fraction
    end: Fraction
    mark_after: bool = True
