"""A whole programme in its running order: the tracks of all sides one after the other, as envelopes.

Any stretch of tracks that follow one another is a slice of it, and so is each side as it was delivered: its first
track begins where its span does, its last one ends there. Between two delivered sides lies silence and a mark.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.signal.cells import UNITS, still
from qc.groove.signal.sector_envelopes import GrooveInput
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from qc.model.track import Track

JOIN = 2 * SECTORS_A_SECOND
"""Sectors of silence between two tracks that do not follow one another in a file (practice)."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A track, or a side without tracks; seconds and sectors of the whole programme, `last` not its own."""

    side: str
    number: int | None
    title: str
    start: Fraction
    end: Fraction
    first: int
    last: int
    mark_after: bool = True
    runs_on: bool = False
    """whether the music goes on into the next track (segue), so that no side may end here"""

    def moved(self, sectors: int) -> Piece:
        """Return the same piece so many sectors later."""
        by = Fraction(sectors, SECTORS_A_SECOND)
        return replace(
            self, start=self.start + by, end=self.end + by, first=self.first + sectors, last=self.last + sectors
        )

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return (self.last - self.first) / SECTORS_A_SECOND


@dataclass(frozen=True, slots=True)
class Delivered:
    """A side as it came: its id, the span that is cut, and the envelopes of its file."""

    id: str
    span: Span
    envelopes: GrooveInput
    loudness: float | None = None
    """integrated, LUFS, where it was measured"""


@dataclass(frozen=True, eq=False)
class RunningOrder:
    """Tracks in order with the envelopes of them all, for 1 m/s at 0 dBFS."""

    envelopes: GrooveInput
    pieces: tuple[Piece, ...]
    loudness: float | None = None
    """integrated, LUFS, of a single delivered side in any order; None for other parts, which have no such number"""

    @classmethod
    def of(cls, sides: Sequence[Delivered]) -> RunningOrder:
        """Put delivered sides one after the other; raises ValueError where their signal chains differ."""
        if len({side.envelopes.signal for side in sides}) != 1:
            raise ValueError("the sides were not measured through the same signal chain")
        parts, pieces, at = list[GrooveInput](), list[Piece](), 0
        for side in sides:
            if parts:
                parts.append(silence(side.envelopes, JOIN))
                at += JOIN
            parts.append(side.envelopes.cut(side.span.start, side.span.end))
            pieces += (piece.moved(at - side.span.start) for piece in _pieces(side))
            at += side.span.sectors
        return cls(joined(parts), tuple(pieces), sides[0].loudness if len(sides) == 1 else None)

    @property
    def units(self) -> tuple[tuple[int, int], ...]:
        """Stretches of pieces that no side may divide, by first and last: one piece each, but for a segue."""
        ends = [i for i, piece in enumerate(self.pieces) if not piece.runs_on]
        return tuple((before + 1, end) for before, end in zip([-1, *ends], ends, strict=False))

    def side(self, chain: Chain, first: int, last: int) -> SideGeometry:
        """Return the side that the pieces from `first` to `last` make."""
        its = self.pieces[first : last + 1]
        times = tuple(
            Track(number, piece.title, piece.start, piece.end, piece.mark_after)
            for number, piece in enumerate(its, start=1)
        )
        loudness = self.loudness if len(its) == len(self.pieces) else None
        return SideGeometry.of(chain, Span(its[0].first, its[-1].last, times), self.envelopes, loudness)

    def seconds(self, first: int, last: int) -> float:
        """Length of such a side in seconds, with what lies between its tracks."""
        return (self.pieces[last].last - self.pieces[first].first) / SECTORS_A_SECOND

    def rearranged(self, units: Sequence[tuple[int, int]]) -> RunningOrder:
        """Put stretches of pieces in another order, each with the gap behind it, but for the last."""
        parts, pieces, at = list[GrooveInput](), list[Piece](), 0
        for first, last in units:
            begin, end = self.pieces[first].first, self.pieces[last].last
            after = self.pieces[last + 1].first if last + 1 < len(self.pieces) else None
            parts.append(self.envelopes.cut(begin, end))
            pieces += (piece.moved(at - begin) for piece in self.pieces[first : last + 1])
            at += end - begin
            gap = silence(self.envelopes, JOIN) if after is None else self.envelopes.cut(end, max(end, after))
            parts.append(gap)
            at += gap.sectors
        return RunningOrder(joined(parts[:-1]), tuple(pieces), self.loudness)


def _pieces(side: Delivered) -> Iterator[Piece]:
    """Yield the tracks of a side in sectors of its file; the outer ones reach as far as the span does."""
    span, tracks = side.span, side.span.tracks
    if not tracks:
        start, end = (Fraction(sector, SECTORS_A_SECOND) for sector in (span.start, span.end))
        yield Piece(side.id, None, "", start, end, span.start, span.end)
    for i, track in enumerate(tracks):
        is_last = i == len(tracks) - 1
        first = span.start if i == 0 else min(math.floor(track.start * SECTORS_A_SECOND), span.end - 1)
        last = span.end if is_last else max(first + 1, min(math.ceil(track.end * SECTORS_A_SECOND), span.end))
        runs_on = not track.mark_after and not is_last
        yield Piece(side.id, track.number, track.title, track.start, track.end, first, last, not runs_on, runs_on)


def joined(parts: Sequence[GrooveInput]) -> GrooveInput:
    """Put envelopes one after the other."""
    each = [part.arrays() for part in parts]
    together = {name: np.concatenate([arrays[name] for arrays in each], axis=-1) for name in each[0]}
    return GrooveInput(parts[0].signal, **together)


def silence(like: GrooveInput, sectors: int) -> GrooveInput:
    """Return envelopes of an unmodulated groove."""
    arrays = {name: np.zeros((*values.shape[:-1], sectors)) for name, values in like.arrays().items()}
    return GrooveInput(like.signal, **{**arrays, **dict.fromkeys(UNITS, still(sectors))})
