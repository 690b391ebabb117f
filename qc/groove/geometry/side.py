"""A side made ready: envelopes of its span for both polarities, in SI at a cut level of 0 dB."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from qc.dsp.samples.own_copy import own_copy
from qc.groove.geometry.kept import KEPT, kept_most
from qc.groove.geometry.second_powers import CELLS, TREBLE, SecondPowers
from qc.groove.geometry.span import Span
from qc.groove.geometry.spiral import lookahead
from qc.groove.signal.cells import Cells
from qc.groove.signal.sector_envelopes import GrooveInput
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from qc.model.quantity import Polarity
from qc.plugin_base import At

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SideGeometry:
    """The span of a side under one chain; what it holds is for a cut level of 0 dB and scales with it."""

    chain: Chain
    span: Span
    envelopes: GrooveInput
    """of the span only, for 1 m/s at 0 dBFS"""
    loudness: float | None = None
    """integrated, LUFS; None where it was not measured"""
    _peaks: dict[str, tuple[int, int]] = field(default_factory=dict, init=False, repr=False)
    _loudest: dict[int, tuple[float, int, int, int]] = field(default_factory=dict, init=False, repr=False)
    _swing: dict[int, tuple[float, int, int, int]] = field(default_factory=dict, init=False, repr=False)
    _cells: dict[str, CellRows] = field(default_factory=dict, init=False, repr=False)

    @classmethod
    def of(cls, chain: Chain, span: Span, envelopes: GrooveInput, loudness: float | None = None) -> SideGeometry:
        """Cut the file's envelopes to the span; `loudness` is integrated, LUFS."""
        return cls(chain, span, envelopes.cut(span.start, span.end), loudness)

    def own_copy(self) -> SideGeometry:
        """Return the same side with envelopes that cannot be opened for writing; the rest is computed again."""
        return SideGeometry(self.chain, self.span, own_copy(self.envelopes), self.loudness)

    def under(self, chain: Chain) -> SideGeometry:
        """Return the same span under another chain; arrays that are the same under both are shared."""
        side = SideGeometry(chain, self.span, self.envelopes, self.loudness)
        shared = vars(side)  # where a frozen dataclass and its cached properties keep what they know
        shared |= {"_peaks": self._peaks, "_loudest": self._loudest, "_cells": self._cells, "_swing": self._swing}
        if _walls_of(chain) == _walls_of(self.chain):
            shared["walls"] = self.walls
        return side

    @property
    def polarities(self) -> tuple[Polarity, ...]:
        """The polarities that are judged."""
        polarity = self.chain.cut.polarity
        return ("normal", "inverted") if polarity == "worst" else (polarity,)

    @cached_property
    def marks(self) -> Array:
        """Least advance of each sector, m."""
        return self.span.mark_advance(self.chain.disc.mark_width)

    @cached_property
    def walls(self) -> dict[Polarity, Walls]:
        """Displacements of each judged polarity."""
        return {polarity: Walls.of(self, polarity) for polarity in self.polarities}

    def peak(self, name: str) -> tuple[int, int]:
        """Channel and sector of the greatest of an envelope; no level moves it."""
        if name not in self._peaks:
            rows = np.atleast_2d(getattr(self.envelopes, name))
            self._peaks[name] = divmod(int(rows.argmax()), rows.shape[1])
        return self._peaks[name]

    def loudest(self, seconds: int) -> tuple[float, int, int, int]:
        """Greatest mean of `a_square` over a window, its channel, first sector and length; no level moves it."""
        if seconds not in self._loudest:
            square = self.envelopes.a_square
            window = min(seconds * SECTORS_A_SECOND, square.shape[1])
            found = []
            for channel, row in enumerate(square):
                total = np.cumsum(np.concatenate([[0.0], row]))
                means = (total[window:] - total[:-window]) / window
                start = int(means.argmax())
                found.append((float(means[start]), channel, start, window))
            self._loudest[seconds] = max(found, key=lambda window: window[0])
        return self._loudest[seconds]

    @property
    def swings(self) -> Array:
        """Greatest lateral excursion of each sector to either side, for 1 m/s at 0 dBFS, (sectors,)."""
        return np.maximum(self.envelopes.lateral_max, -self.envelopes.lateral_min)

    def swing(self) -> tuple[float, int]:
        """Return the greatest lateral excursion for 1 m/s at 0 dBFS, and its sector; no level moves it."""
        if "swing" not in self._peaks:
            self._peaks["swing"] = 0, int(self.swings.argmax())
        _, sector = self._peaks["swing"]
        return float(max(self.envelopes.lateral_max[sector], -self.envelopes.lateral_min[sector])), sector

    def kept_swing(self) -> tuple[float, int, int, int]:
        """Return the lateral excursion that KEPT of the sectors of the worst 10 s reach, for 1 m/s at 0 dBFS.

        Then the greatest sector there, and the first and the end of those 10 s; no level moves any of them.
        """
        if 0 not in self._swing:
            self._swing[0] = kept_most(self.swings, 10 * SECTORS_A_SECOND, KEPT)
        return self._swing[0]

    def cells(self, name: str) -> CellRows:
        """Return the cells of 1 ms of a quantity, sector by sector; no level moves them."""
        if name not in self._cells:
            alike = next(iter(self._cells.values()), None)  # a sector has as many cells of each quantity
            self._cells[name] = CellRows.of(getattr(self.envelopes, name), None if alike is None else alike.first)
        return self._cells[name]

    @cached_property
    def second_powers(self) -> SecondPowers:
        """Fourth powers of the cells in each second; no level moves them."""
        rows = {name: self.cells(name) for name in (*CELLS, TREBLE)}
        return SecondPowers.of({name: row.bits for name, row in rows.items()}, rows[TREBLE].first)

    def at(
        self, start: int, end: int, radius: Array | float | None, polarity: Polarity | None, channel: str | None
    ) -> At:
        """Place the sectors from `start` to before `end` of the span; `radius` is that of `start`, or of all."""
        if isinstance(radius, np.ndarray):
            radius = float(radius[start])
        return At(
            start_s=(self.span.start + start) / SECTORS_A_SECOND,
            end_s=min((self.span.start + end) / SECTORS_A_SECOND, self.span.file_end_s),
            track=self.span.track_at(start),
            radius_mm=None if radius is None else radius * 1e3,
            polarity=polarity if len(self.polarities) > 1 else None,
            channel=channel,
        )


@dataclass(frozen=True, eq=False)
class CellRows:
    """The cells of 1 ms of one quantity, arranged for counting them.

    bits: (sectors, MOST) as the bits of half precision; tops: the greatest cell of each sector, (sectors,); first: the
    number of each sector's first cell, (sectors + 1,).
    """

    bits: NDArray[np.int16]
    tops: NDArray[np.float32]
    first: NDArray[np.int32]

    @classmethod
    def of(cls, cells: Cells, first: NDArray[np.int32] | None = None) -> CellRows:
        """Arrange cells, (MOST, sectors); with `first` where another quantity has it."""
        rows = np.ascontiguousarray(cells.T)
        bits = rows.view(np.int16)
        tops = np.maximum(bits.max(axis=1), 0).view(np.float16).astype(np.float32)
        if first is None:
            first = np.zeros(len(bits) + 1, np.int32)
            np.cumsum((bits >= 0).sum(axis=1), out=first[1:])
        return cls(bits, tops, first)


@dataclass(frozen=True, eq=False)
class Walls:
    """Displacements of one polarity in m at a cut level of 0 dB, each (sectors,).

    out: greatest of the right (outer) wall; inward: least of the left (inner) wall; up, down: greatest excursion
    out of and into the disc; up_near: greatest `up` within the preview on either side, for variable depth. Only
    `up_near` is an array of its own: `right`, `left`, `rise` and `fall` are the envelopes themselves, to be multiplied
    by `unity`, which is negative where the motion is turned round.
    """

    right: Array
    left: Array
    rise: Array
    fall: Array
    unity: float
    up_near: Array

    @classmethod
    def of(cls, side: SideGeometry, polarity: Polarity) -> Walls:
        """Take the envelopes as they are, or with the sign of the motion turned round."""
        e, unity = side.envelopes, side.chain.cut.unity_velocity
        reach = lookahead(side.chain.cut, side.chain.disc)
        if polarity == "normal":
            near = greatest_near(unity * e.vertical_max, reach)
            return cls(e.d_max[1], e.d_min[0], e.vertical_max, e.vertical_min, unity, near)
        near = greatest_near(-unity * e.vertical_min, reach)
        return cls(e.d_min[1], e.d_max[0], e.vertical_min, e.vertical_max, -unity, near)

    @property
    def out(self) -> Array:
        """Greatest displacement of the right wall."""
        return self.unity * self.right

    @property
    def inward(self) -> Array:
        """Least displacement of the left wall."""
        return self.unity * self.left

    @property
    def up(self) -> Array:
        """Greatest excursion out of the disc."""
        return self.unity * self.rise

    @property
    def down(self) -> Array:
        """Greatest excursion into the disc."""
        return -self.unity * self.fall


def _walls_of(chain: Chain) -> tuple[object, ...]:
    """Return the values of a chain that the walls depend on."""
    return chain.cut.polarity, chain.cut.unity_velocity, lookahead(chain.cut, chain.disc)


def greatest_near(x: Array, reach: int) -> Array:
    """Greatest of x over `reach` values on either side, cut at the ends; (n,)."""
    near = np.concatenate([np.full(reach, -np.inf), x, np.full(reach, -np.inf)])
    seen, window = 1, 2 * reach + 1
    while seen < window:  # what looks over `seen` values looks over twice as many next to a copy of itself
        further = min(seen, window - seen)
        near = np.maximum(near[:-further], near[further:])
        seen += further
    return near
