"""A side made ready: envelopes of its span for both polarities, in SI at a cut level of 0 dB."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from qc.chain import SECTORS_A_SECOND, Chain
from qc.contract import At
from qc.groove.sectors import GrooveInput
from qc.groove.span import Span
from qc.groove.spiral import lookahead
from qc.quantity import Polarity

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Side:
    """The span of a side under one chain; what it holds is for a cut level of 0 dB and scales with it."""

    chain: Chain
    span: Span
    envelopes: GrooveInput
    """of the span only, for 1 m/s at 0 dBFS"""

    @classmethod
    def of(cls, chain: Chain, span: Span, envelopes: GrooveInput) -> Side:
        """Cut the file's envelopes to the span."""
        return cls(chain, span, envelopes.cut(span.start, span.end))

    def under(self, chain: Chain) -> Side:
        """Give the same span under another chain; what both work out alike is not worked out again."""
        side = Side(chain, self.span, self.envelopes)
        if _walls_of(chain) == _walls_of(self.chain):
            vars(side)["walls"] = self.walls  # where a cached property keeps it
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
        """What differs between the polarities."""
        return {polarity: Walls.of(self, polarity) for polarity in self.polarities}

    def at(self, start: int, end: int, radius: Array | None, polarity: Polarity | None, channel: str | None) -> At:
        """Place the sectors from `start` to before `end` of the span; the radius is that of `start`."""
        return At(
            start_s=(self.span.start + start) / SECTORS_A_SECOND,
            end_s=min((self.span.start + end) / SECTORS_A_SECOND, self.span.file_end_s),
            track=self.span.track_at(start),
            radius_mm=None if radius is None else float(radius[start]) * 1e3,
            polarity=polarity if len(self.polarities) > 1 else None,
            channel=channel,
        )


@dataclass(frozen=True, eq=False)
class Walls:
    """Displacements of one polarity in m at a cut level of 0 dB, each (sectors,).

    out: greatest of the right (outer) wall; inward: least of the left (inner) wall; up, down: greatest excursion
    out of and into the disc; up_near: greatest `up` within the preview on either side, for variable depth.
    """

    out: Array
    inward: Array
    up: Array
    down: Array
    up_near: Array

    @classmethod
    def of(cls, side: Side, polarity: Polarity) -> Walls:
        """Take the envelopes as they are, or with the sign of the motion turned round."""
        e, unity = side.envelopes, side.chain.cut.unity_velocity
        if polarity == "normal":
            out, inward, up, down = e.d_max[1], e.d_min[0], e.vertical_max, -e.vertical_min
        else:
            out, inward, up, down = -e.d_min[1], -e.d_max[0], -e.vertical_min, e.vertical_max
        up = unity * up
        near = greatest_near(up, lookahead(side.chain.cut, side.chain.disc))
        return cls(unity * out, unity * inward, up, unity * down, near)


def _walls_of(chain: Chain) -> tuple[object, ...]:
    """Give what the walls depend on."""
    return chain.cut.polarity, chain.cut.unity_velocity, lookahead(chain.cut, chain.disc)


def greatest_near(x: Array, reach: int) -> Array:
    """Greatest of x over `reach` values on either side, cut at the ends; (n,)."""
    near: Array = np.concatenate([np.full(reach, -np.inf), x, np.full(reach, -np.inf)])
    window, wide = 2 * reach + 1, 1
    while 2 * wide <= window:  # the greatest of twice as many is the greater of two
        near, wide = np.maximum(near[:-wide], near[wide:]), 2 * wide
    return np.maximum(near[: len(x)], near[window - wide :])
