"""A passage of a side processed again: its motion, and what a limit makes of it once the motion is changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut import SWING, Cutting
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.spiral import lookahead
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.traces import DRIVES, OF_SECTORS, SHARES, Array
from qc.groove.level.side_at_level import WorkedSide
from qc.groove.playback.side_passage import ExcerptReader
from qc.groove.signal.band_limit import motion_rate
from qc.groove.signal.sector_envelopes import MARGIN, GrooveInput, envelopes_of
from qc.groove.signal.wall_motion import Motion
from qc.model.cutting_chain import SECTORS_A_SECOND, Signal
from qc.model.quantity import Polarity
from qc.plugin_base import Samples, Stream

LEAD = 4
"""Sectors of motion ahead of a passage, 53 ms, so that what is filtered anew has settled: a first-order high-pass at
60 Hz by 174 dB (practice)."""
TAIL = 1
"""Sectors of motion behind it, where changing a band cuts the motion off (practice)."""
DEPTHS = ("groove.top_width_min", "groove.depth_max")
"""Measurements for which the depth counts, that the preview carries on to neighbouring sectors."""


@dataclass(frozen=True, eq=False)
class PassageMotion:
    """Sectors of the span from `start` to before `end`, and their motion with MARGIN frames about LEAD and TAIL."""

    worked: WorkedSide
    start: int
    end: int
    rate: int
    """frames of motion a second"""
    signal: Signal
    motion: Samples
    """(4, frames), as `Motion` gives it"""

    @classmethod
    def read(
        cls, look: ExcerptReader, stream: Stream, worked: WorkedSide, start: int, end: int, *, wide: bool = False
    ) -> PassageMotion:
        """Process a passage again, `wide` without the bass mono of the chain."""
        side = worked.search.side
        signal = side.chain.signal
        if wide:
            signal = replace(signal, bass_mono=0.0)
        rate = motion_rate(stream.rate)
        size = rate // SECTORS_A_SECOND
        first = (side.span.start + start - LEAD) * size - MARGIN
        last = (side.span.start + end + TAIL) * size + MARGIN
        motion = look(first / rate, last / rate, Motion(signal))
        if motion.shape[1] < last - first:  # nothing is there before the file begins, nor counts behind its end
            ahead = max(0, -first)
            motion = np.pad(motion, ((0, 0), (ahead, last - first - ahead - motion.shape[1])))
        return cls(worked, start, end, rate, signal, motion)

    @property
    def sectors(self) -> int:
        """Number of sectors."""
        return self.end - self.start

    def seconds(self, frame: int) -> float:
        """Return the file second of a frame of the motion."""
        begin = self.worked.search.side.span.start + self.start - LEAD
        return begin / SECTORS_A_SECOND + (frame - MARGIN) / self.rate

    def frame(self, sector: int) -> int:
        """Return the frame of the motion at which a sector of the span begins."""
        return MARGIN + (sector - self.start + LEAD) * (self.rate // SECTORS_A_SECOND)

    def envelopes(self, motion: Samples | None = None) -> GrooveInput:
        """Return the envelopes of the passage's sectors, with another motion in place of its own."""
        first = self.worked.search.side.span.start + self.start - LEAD
        found = envelopes_of(self.motion if motion is None else motion, self.rate, self.signal, first)
        return found.cut(LEAD, LEAD + self.sectors)

    def measured(self, measure: str, polarity: Polarity, envelopes: GrooveInput | None = None) -> Array:
        """Return what a measurement looks at in the passage, as `looked_at` does, with other envelopes in it."""
        side, level = self.worked.search.side, self.worked.judged
        reach = lookahead(side.chain.cut, side.chain.disc) if measure in DEPTHS else 0
        low, high = max(0, self.start - reach), min(side.span.sectors, self.end + reach)
        here = side.envelopes.cut(low, high)
        if envelopes is not None:
            here = _with(here, self.start - low, envelopes)
        span = replace(side.span, start=side.span.start + low, end=side.span.start + high)
        cutting = Cutting(SideGeometry(side.chain, span, here), level, polarity)
        cutting.speed = self.worked.search.cutting(level, polarity).speed[low:high]
        return looked_at(cutting, measure, self.start - low, self.end - low)


def looked_at(cutting: Cutting, measure: str, start: int, end: int) -> Array:
    """Return what a measurement looks at in the sectors from `start` to before `end`.

    (walls, sectors): of a share the ratio, of a drive its root. Of a share of time it is the ratio over what counts
    as beyond, (1, cells) of 1 ms.
    """
    if measure in TIMES:
        return TIMES[measure].by_cell(cutting, start, end)[None, :]
    if measure in SHARES:
        return np.atleast_2d(SHARES[measure][0](cutting))[:, start:end]
    if measure == SWING:
        measure = "groove.lateral_displacement_peak"
    if measure in DRIVES:
        drive: Array = cutting.scale * np.sqrt(cutting.side.envelopes.a_square[:, start:end])
        return drive
    return np.atleast_2d(OF_SECTORS[measure](cutting))[:, start:end]


def sectors_of(cutting: Cutting, measure: str, start: int, end: int) -> NDArray[np.intp]:
    """Return the sector of each value that `looked_at` returns, (values,)."""
    sectors = np.arange(start, end)
    if measure not in TIMES:
        return sectors
    first = cutting.side.cells(TIMES[measure].cells).first[start : end + 1]
    return np.repeat(sectors, np.diff(first))


def _with(whole: GrooveInput, at: int, part: GrooveInput) -> GrooveInput:
    """Return envelopes with some sectors, from `at` on, taken from others."""
    kept = whole.each(np.copy)
    for name, values in part.arrays().items():
        getattr(kept, name)[..., at : at + part.sectors] = values
    return kept
