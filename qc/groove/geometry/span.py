"""The sectors of a file that are cut, the track of each, and the marks between tracks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from qc.groove.signal.programme import ProgrammeBounds
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.track import Track, track_at

LEAST_GAP = Fraction(3, 10)
"""s; a declared gap of more than this is opened into a mark (practice)."""
ROUNDING = 1e-9
"""Sectors by which a second may lie before a sector and still count as in it: a rounding error."""


@dataclass(frozen=True)
class Span:
    """Sectors from `start` to before `end`, counted from frame 0 of the file."""

    start: int
    end: int
    tracks: tuple[Track, ...] = ()
    file_end_s: float = math.inf
    """where the file ends; the last sector may be a part"""

    @property
    def sectors(self) -> int:
        """Number of sectors."""
        return self.end - self.start

    def sector_at(self, second: float) -> int:
        """Return the sector of the span in which a file second lies: below 0 before the span, `sectors` on after it."""
        return int(second * SECTORS_A_SECOND + ROUNDING) - self.start

    def track_at(self, sector: int) -> int | None:
        """Return the number of the track at a sector of the span, or of the last before it; None without tracks."""
        return track_at(self.tracks, self.start + sector)

    def mark_advance(self, mark_width: float) -> NDArray[np.float64]:
        """Least advance of each sector in m, (sectors,): the mark's width spread over the gap, 0 elsewhere."""
        least = np.zeros(self.sectors)
        for track, following in zip(self.tracks, self.tracks[1:], strict=False):
            if track.mark_after and following.start - track.end > LEAST_GAP:
                s, t = _nearest(track.end), _nearest(following.start)
                least[max(0, s - self.start) : max(0, t - self.start)] = mark_width / (t - s)
        return least


def span_of(tracks: Sequence[Track], programme: ProgrammeBounds, sectors: int) -> Span:
    """Span the tracks declared and the programme found, whichever reaches further, inside the file's sectors."""
    first, last = programme.first or 0, -1 if programme.last is None else programme.last
    start, end = Fraction(first, 100), Fraction(last + 1, 100)
    if tracks:
        start, end = min(start, tracks[0].start), max(end, tracks[-1].end)
    begin = min(math.floor(start * SECTORS_A_SECOND), sectors - 1)
    return Span(
        begin, max(begin + 1, min(math.ceil(end * SECTORS_A_SECOND), sectors)), tuple(tracks), programme.duration_s
    )


def _nearest(second: Fraction) -> int:
    return math.floor(second * SECTORS_A_SECOND + Fraction(1, 2))
