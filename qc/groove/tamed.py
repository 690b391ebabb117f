"""A side whose worst passages were tamed: what they demand of the pitch is lowered, and one limit forgets them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from qc.groove.cutting import MEASURES, Cutting
from qc.groove.events import Stretch
from qc.groove.rows import LevelRow
from qc.groove.side import Side, greatest_near
from qc.groove.spiral import Spiral, demanded, lookahead, wind
from qc.groove.traces import Array, Mask, Trace, trace
from qc.quantity import Polarity, meets

EASE = 10.0 ** (-6.0 / 20.0)
"""By how much a tamed passage moves less in the pitch that it demands: 6 dB (practice)."""
HELD = 3
"""Levels whose arrays are held at once."""


class TamedCutting(Cutting):
    """A side as cut with some sectors tamed; only the spiral and what depends on its radius are others."""

    def __init__(self, side: Side, level: float, polarity: Polarity, tamed: Mask) -> None:
        super().__init__(side, level, polarity)
        self.tamed = tamed

    @cached_property
    def spiral(self) -> Spiral:
        """The spiral as cut, where the tamed sectors demand less."""
        cut, disc = self.side.chain.cut, self.side.chain.disc
        ease = self.gain * np.where(self.tamed, EASE, 1.0)
        out, inward = ease * self.walls.out, ease * self.walls.inward
        return wind(demanded(self._depth(ease), out, inward, cut, disc.sectors_a_turn), self.side.marks, cut, disc)

    def _depth(self, ease: Array) -> Array:
        """Depth of the unmodulated groove where the tamed sectors rise less, m, (n,)."""
        cut = self.side.chain.cut
        if cut.depth == "fixed":
            return self.depth
        near = greatest_near(ease * self.walls.up, lookahead(cut, self.side.chain.disc))
        return np.clip(cut.keep_width / 2.0 + near, cut.top_width / 2.0, cut.nominal_depth)


class Tamed:
    """One side with passages tamed, at any level; `forgets` is the limit that does not look at them any more."""

    def __init__(self, side: Side, passages: Sequence[Stretch], forgets: str) -> None:
        self.side, self.passages, self.forgets = side, tuple(passages), forgets
        self.mask = np.zeros(side.span.sectors, dtype=np.bool_)
        for start, end in self.passages:
            self.mask[start:end] = True
        self._held: dict[tuple[float, Polarity], TamedCutting] = {}

    def cutting(self, level: float, polarity: Polarity) -> TamedCutting:
        """Give the side as cut at a level and polarity; the last few are held."""
        held = self._held.pop((level, polarity), None) or TamedCutting(self.side, level, polarity, self.mask)
        self._held[level, polarity] = held  # now the last
        if len(self._held) > HELD * len(self.side.polarities):
            del self._held[next(iter(self._held))]
        return held

    def trace(self, level: float, polarity: Polarity) -> Trace | None:
        """Follow the limit's measurement along what it still looks at."""
        return trace(self.cutting(level, polarity), self.forgets, self.mask)

    def keeps(self, row: LevelRow, bound: float, level: float) -> bool:
        """Whether a limit holds at a level, in every polarity."""
        return all(
            meets(self._value(row.measure, level, polarity) * MEASURES[row.measure].factor, bound, row.op, row.unit)
            for polarity in self.side.polarities
        )

    def _value(self, measure: str, level: float, polarity: Polarity) -> float:
        seen = self.trace(level, polarity) if measure == self.forgets else None
        if seen is not None:
            return seen.worst().value
        return self.cutting(level, polarity).measure(measure).value
