"""The one model of a track, shared by deliveries, the groove and reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from qc.model.cutting_chain import SECTORS_A_SECOND


@dataclass(frozen=True, slots=True)
class Track:
    """A declared track: number, title, exact start and end in file seconds, whether a visible mark follows it."""

    number: int
    title: str
    start: Fraction
    end: Fraction
    mark_after: bool = True


def track_at(tracks: Sequence[Track], sector: int) -> int | None:
    """Return the number of the track at a sector of the file, or of the last before it; None without tracks."""
    begun = [track.number for track in tracks if track.start < Fraction(sector + 1, SECTORS_A_SECOND)]
    return begun[-1] if begun else (tracks[0].number if tracks else None)
