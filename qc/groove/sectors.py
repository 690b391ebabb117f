"""Sector envelopes: all that the groove model needs of a side, 75 times a second, for 1 m/s at 0 dBFS.

Level, width, radius, preview, polarity and disc act on these envelopes, so a changed limit or chain value outside
`chain.signal` needs no second pass.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.chain import SECTORS_A_SECOND, Chain, Signal
from qc.contract import Analysis, Block, Samples, Stream, Tap
from qc.dsp import biquad
from qc.dsp.biquad import run_sections
from qc.dsp.extremes import acceleration, crest, peak, peak_on, sum_of_squares, trough, velocity
from qc.dsp.jit import kernel
from qc.groove.motion import AFTER, Displacement, motion_rate

MARGIN = AFTER
"""Motion frames kept on either side of a sector, more than the derivatives and summits reach."""

COLUMNS = 19

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class GrooveInput:
    """Envelopes per sector for a wall velocity of 1 m/s at 0 dBFS; linear in level.

    Displacements in m, velocities in m/s, accelerations in m/s2, `a_square` in (m/s2)^2. Arrays (n,) are of the
    groove: lateral positive outward, vertical positive up; arrays (2, n) are of the walls, left (inner) first.
    """

    signal: Signal
    d_max: Array
    d_min: Array
    lateral_max: Array
    lateral_min: Array
    vertical_max: Array
    vertical_min: Array
    lateral_v: Array
    vertical_v: Array
    v_abs: Array
    a_abs: Array
    a_square: Array
    sibilance_a: Array
    low_vertical: Array

    @property
    def sectors(self) -> int:
        """Number of sectors; the last may be a part."""
        return int(self.low_vertical.shape[0])

    def cut(self, start: int, end: int) -> GrooveInput:
        """Give the sectors from `start` to before `end`."""
        parts = {f.name: getattr(self, f.name)[..., start:end] for f in fields(self) if f.name != "signal"}
        return GrooveInput(self.signal, **parts)


@dataclass(frozen=True)
class Sectors(Analysis[GrooveInput]):
    """Hears the wall motion and keeps its envelopes."""

    signal: Signal
    id: ClassVar[str] = "groove.sectors"
    cost: ClassVar[float] = 60.0

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build it for a chain; only `chain.signal` reaches the audio."""
        return cls(chain.signal)

    def taps(self) -> tuple[Tap, ...]:
        """Name the displacement, the only one."""
        return (Displacement(self.signal),)

    def start(self, stream: Stream) -> _Running:
        """Begin on a stream of two channels."""
        return _Running(self, stream)


class _Running:
    """Collects displacement until whole sectors are there, with a margin on either side."""

    def __init__(self, need: Sectors, stream: Stream) -> None:
        self._need = need
        self._tap = need.taps()[0]
        rate = motion_rate(stream.rate)
        self._rate, self._size = float(rate), rate // SECTORS_A_SECOND
        self._frames = -(-stream.frames * rate // stream.rate)
        sectors = -(-self._frames // self._size)
        self._rows = np.zeros((sectors, COLUMNS))
        self._done = 0
        self._held = np.zeros((2, MARGIN))
        self._band = np.vstack([biquad.butterworth_4_high(5_000.0, rate), biquad.butterworth_4_low(12_000.0, rate)])
        self._band_state = biquad.fresh(self._band, 2)
        self._low = biquad.butterworth_4_low(300.0, rate)
        self._low_state = biquad.fresh(self._low, 2)
        self._before = np.zeros((4, 2))

    def push(self, block: Block) -> None:
        """Take the block's displacement."""
        self._take(block[self._tap])

    def _take(self, d: Samples) -> None:
        held = np.concatenate([self._held, d], axis=1)
        ready = max(0, held.shape[1] - 2 * MARGIN) // self._size
        if ready:
            self._work(held, ready, self._size)
            held = held[:, ready * self._size :]
        self._held = held

    def _work(self, held: Samples, count: int, last: int) -> None:
        rows = self._rows[self._done : self._done + count]
        envelopes(
            held,
            self._size,
            last,
            self._rate,
            self._band,
            self._band_state,
            self._low,
            self._low_state,
            self._before,
            rows,
        )
        self._done += count

    def finish(self) -> GrooveInput:
        """Work out the last sectors and give the envelopes."""
        rest = self._frames - self._done * self._size
        self._held = np.concatenate([self._held, np.zeros((2, self._size))], axis=1)  # counts for nothing
        if rest:
            count = -(-rest // self._size)
            self._work(self._held, count, rest - (count - 1) * self._size)
        return _named(self._need.signal, self._rows)


def _named(signal: Signal, rows: Array) -> GrooveInput:
    """Give the kernel's columns their names."""
    c = np.ascontiguousarray(rows.T)
    return GrooveInput(
        signal=signal, d_max=c[0:2], d_min=c[2:4], lateral_max=c[4], lateral_min=c[5], vertical_max=c[6],
        vertical_min=c[7], lateral_v=c[8], vertical_v=c[9], v_abs=c[10:12], a_abs=c[12:14], a_square=c[14:16],
        sibilance_a=c[16:18], low_vertical=c[18],
    )  # fmt: skip


@kernel
def envelopes(
    d: Array, size: int, last: int, rate: float, band: Array, band_state: Array, low: Array, low_state: Array,
    before: Array, rows: Array,
) -> None:  # fmt: skip
    """Fill one row a sector from displacement d (2, frames), whose first sector begins at MARGIN.

    `last` is the number of frames that count in the last sector. Reads MARGIN frames on either side. `before`
    (4, 2) carries the last two values of the two band signals and of the low vertical one from sector to sector.
    """
    root = np.sqrt(0.5)
    on, half = np.empty((2, size + 4)), np.empty((2, size + 4))
    turned = np.empty((2, size + 2 * MARGIN))
    mixed, mixed_half = np.empty(size + 4), np.empty(size + 4)
    banded, lows = np.empty((2, size + 4)), np.empty((2, size + 4))
    for k in range(rows.shape[0]):
        n = last if k == rows.shape[0] - 1 else size
        at, row = MARGIN + k * size, rows[k]
        for c in range(2):
            row[c], row[2 + c] = crest(d[c], at, at + n), trough(d[c], at, at + n)
        for i in range(n + 2 * MARGIN):
            left, right = d[0, at - MARGIN + i], d[1, at - MARGIN + i]
            turned[0, i], turned[1, i] = root * (left + right), root * (left - right)
        for c in range(2):  # lateral, then vertical displacement
            row[4 + 2 * c] = crest(turned[c], MARGIN, MARGIN + n)
            row[5 + 2 * c] = trough(turned[c], MARGIN, MARGIN + n)
        for c in range(2):
            velocity(d[c], at - 1, rate, on[c, : n + 2], half[c, : n + 2])
            row[10 + c] = peak(on[c], half[c], n)
        for i in range(n + 2):
            mixed[i], mixed_half[i] = root * (on[0, i] + on[1, i]), root * (half[0, i] + half[1, i])
        row[8] = peak(mixed, mixed_half, n)
        for i in range(n + 2):
            mixed[i], mixed_half[i] = root * (on[0, i] - on[1, i]), root * (half[0, i] - half[1, i])
        row[9] = peak(mixed, mixed_half, n)
        for c in range(2):
            acceleration(d[c], at - 1, rate, on[c, : n + 3], half[c, : n + 3])
            row[12 + c] = peak(on[c], half[c], n)
            row[14 + c] = sum_of_squares(on[c], 1, n + 1) / n
        _filtered(on[:, 1 : n + 3], banded, n, band, band_state, before[:2])
        _filtered(turned[:, MARGIN : MARGIN + n + 2], lows, n, low, low_state, before[2:])
        for c in range(2):
            row[16 + c] = peak_on(banded[c], 2, n + 2)
        row[18] = peak_on(lows[1], 2, n + 2)


@kernel
def _filtered(x: Array, out: Array, n: int, sections: Array, state: Array, before: Array) -> None:
    """Filter n values of x (2, n + 2) into out from index 2 on, two known values before and two looked ahead.

    The look-ahead runs on a copy of the state, so that the next sector begins where this one ends.
    """
    for c in range(2):
        out[c, 0], out[c, 1] = before[c, 0], before[c, 1]
    run_sections(x[:, :n], out[:, 2 : n + 2], sections, state)
    run_sections(x[:, n : n + 2], out[:, n + 2 : n + 4], sections, state.copy())
    for c in range(2):
        before[c, 0], before[c, 1] = out[c, n], out[c, n + 1]
