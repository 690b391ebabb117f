"""Sector envelopes: all that the groove model needs of a side, 75 times a second, for 1 m/s at 0 dBFS.

Level, width, radius, preview, polarity and disc act on these envelopes, so a changed limit or chain value outside
`chain.signal` needs no second pass.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import biquad, cascade
from qc.dsp.filters.cascade import LAG
from qc.dsp.kernels.aligned import room
from qc.dsp.kernels.compile import index, kernel, read_only
from qc.dsp.kernels.simd import loader, narrow, splatter, store
from qc.dsp.meters.extremes import WIDE, crest_and_trough, derivatives, peak, peak_on, sum_of_squares, turn
from qc.groove.signal.band_limit import motion_rate
from qc.groove.signal.cells import THIRDS, CellPeaks, Cells, peak_by_cell, peak_on_by_cell
from qc.groove.signal.wall_motion import LOW_LATE, Motion
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain, Signal
from qc.plugin_base import Analysis, Block, Samples, Stream, Tap

MARGIN = 48
"""Motion frames kept on either side of a sector, as many as whole vectors may be read from: see `reach`."""
AHEAD = 3 * LAG + 2
"""Frames by which the sibilance band is fed ahead of its sector: it comes out later, and a summit looks on by two."""
SIBILANCE_HZ = (5_000.0, 12_000.0)

COLUMNS = 19

Array = NDArray[np.float64]
Waves = NDArray[np.float32]

load, splat = loader(WIDE), splatter(WIDE)


@dataclass(frozen=True, eq=False)
class GrooveInput:
    """Envelopes per sector for a wall velocity of 1 m/s at 0 dBFS; linear in level.

    Displacements in m, velocities in m/s, accelerations in m/s2, `a_square` in (m/s2)^2. Arrays (n,) are of the
    groove: lateral positive outward, vertical positive up; arrays (2, n) are of the walls, left (inner) first. What is
    kept for cells of 1 ms is of the greater wall, (cells.MOST, n) in half precision, in the units of `cells.UNITS`.
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
    lateral_v_cells: Cells
    vertical_v_cells: Cells
    a_cells: Cells
    sibilance_cells: Cells

    @property
    def sectors(self) -> int:
        """Number of sectors; the last may be a part."""
        return int(self.low_vertical.shape[0])

    def cut(self, start: int, end: int) -> GrooveInput:
        """Return the sectors from `start` to before `end`."""
        return self.each(lambda values: values[..., start:end])

    def each(self, change: Callable[[NDArray[Any]], NDArray[Any]]) -> GrooveInput:
        """Return envelopes of which every array is changed alike."""
        return GrooveInput(self.signal, **{name: change(values) for name, values in self.arrays().items()})

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Return the arrays by name."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name != "signal"}


@dataclass(frozen=True)
class Sectors(Analysis[GrooveInput]):
    """Envelopes of the wall motion by sector."""

    signal: Signal
    id: ClassVar[str] = "groove.sectors"
    cost: ClassVar[float] = 10.0

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build it for a chain; only `chain.signal` reaches the audio."""
        return cls(chain.signal)

    def taps(self) -> tuple[Tap, ...]:
        """Name the motion, the only one."""
        return (Motion(self.signal),)

    def start(self, stream: Stream) -> _SectorsRunning:
        """Begin on a stream of two channels."""
        return _SectorsRunning(self, stream)


def reach(size: int) -> int:
    """Frames behind a sector's end that `_read` fetches: of the low rows, which come later, in whole vectors."""
    return -(-(size + AHEAD + 16) // WIDE) * WIDE - 8 + LOW_LATE - size


class _SectorsRunning:
    """Works out whole sectors where they lie; those that reach across a slice's end are joined first."""

    def __init__(self, need: Sectors, stream: Stream) -> None:
        self._need = need
        self._tap = need.taps()[0]
        rate = motion_rate(stream.rate)
        self._rate, self._size = float(rate), rate // SECTORS_A_SECOND
        self._frames = -(-stream.frames * rate // stream.rate)
        self._columns = np.zeros((COLUMNS, -(-self._frames // self._size)))
        self._done = 0
        # the frames from MARGIN before the next sector on, and room to join the next slice's to them
        self._kept = np.zeros((4, 4 * (self._size + 2 * MARGIN)))
        self._filled = MARGIN
        low, high = SIBILANCE_HZ
        self._band = cascade.coefficients(
            np.vstack([biquad.butterworth_4_high(low, rate), biquad.butterworth_4_low(high, rate)])
        )
        self._state = cascade.at_rest()
        self._banded = np.zeros((2, self._size + 8), np.float32)
        self._rows = rows(self._size)
        self._cells = CellPeaks(rate, self._columns.shape[1])

    def push(self, block: Block) -> None:
        """Take the block's motion."""
        self._take(block[self._tap])

    def _take(self, d: Samples) -> None:
        n, filled = d.shape[1], self._filled
        across = min(-(-filled // self._size), self._ready(filled + n))  # those whose margin begins before d
        joined = n if n < 2 * self._size else max(0, across * self._size + 2 * MARGIN - filled)
        self._kept[:, filled : filled + joined] = d[:, :joined]
        if joined == n:
            ready = self._ready(filled + n)
            self._work(self._kept, 0, ready, self._size)
            self._keep(self._kept[:, ready * self._size : filled + n].copy())
            return
        self._work(self._kept, 0, across, self._size)
        start = across * self._size - filled  # of d: where the margin of the next sector begins
        ready = self._ready(n - start)
        self._work(d, start, ready, self._size)
        self._keep(d[:, start + ready * self._size :])

    def _ready(self, frames: int) -> int:
        """Sectors that can be worked out of so many frames, their margins included."""
        return max(0, (frames - 2 * MARGIN) // self._size)

    def _keep(self, rest: Samples) -> None:
        self._filled = rest.shape[1]
        self._kept[:, : self._filled] = rest

    def _work(self, d: Samples, at: int, count: int, last: int) -> None:
        if not count:
            return
        first = self._done == 0
        envelopes(
            read_only(np.ascontiguousarray(d)),
            at + MARGIN,
            self._size,
            last,
            first,
            self._rate,
            self._band,
            self._state,
            self._banded,
            *self._rows,
            self._columns,
            self._done,
            count,
            self._cells.edges,
            self._done % THIRDS,
            self._cells.room(count),
            self._cells.row,
        )
        cascade.settle(self._state)
        self._cells.row += count
        self._done += count

    def finish(self) -> GrooveInput:
        """Work out the last sectors and give the envelopes."""
        rest = self._frames - self._done * self._size
        if rest:
            count = -(-rest // self._size)
            self._kept[:, self._filled :] = 0.0  # counts for nothing
            self._work(self._kept, 0, count, rest - (count - 1) * self._size)
        return _named(self._need.signal, self._columns, self._cells.finish(rest or self._size))


def envelopes_of(motion: Samples, rate: int, signal: Signal, first: int = 0) -> GrooveInput:
    """Return the envelopes of motion (4, MARGIN + sectors + MARGIN) by itself, as `Motion` returns it at a rate.

    `first` is the number of its first sector in the file, which cells are counted by. The sibilance band begins at
    rest: the first sector's is none of the programme's.
    """
    low, high = SIBILANCE_HZ
    size = rate // SECTORS_A_SECOND
    count = (motion.shape[1] - 2 * MARGIN) // size
    columns = np.zeros((COLUMNS, count))
    band = cascade.coefficients(np.vstack([biquad.butterworth_4_high(low, rate), biquad.butterworth_4_low(high, rate)]))
    banded = np.zeros((2, size + 8), np.float32)
    cells = CellPeaks(rate, count, first)
    envelopes(
        read_only(np.ascontiguousarray(motion)), MARGIN, size, size, True, float(rate), band, cascade.at_rest(), banded,
        *rows(size), columns, 0, count, cells.edges, first % THIRDS, cells.room(count), cells.row,
    )  # fmt: skip
    cells.row += count
    return _named(signal, columns, cells.finish(size))


def _named(signal: Signal, c: Array, cells: dict[str, Cells]) -> GrooveInput:
    """Return the kernel's numbers (COLUMNS, sectors), and the cells, by name."""
    return GrooveInput(
        signal=signal, d_max=c[0:2], d_min=c[2:4], lateral_max=c[4], lateral_min=c[5], vertical_max=c[6],
        vertical_min=c[7], lateral_v=c[8], vertical_v=c[9], v_abs=c[10:12], a_abs=c[12:14], a_square=c[14:16],
        sibilance_a=c[16:18], low_vertical=c[18], **cells,
    )  # fmt: skip


def rows(size: int) -> tuple[Array, Waves]:
    """Return room for `envelopes` to work in, for sectors of `size` frames: (4, frames), (15, frames) in float32."""
    frames = size + 2 * MARGIN
    return room(4, frames), room(15, frames, np.float32)


@kernel
def envelopes(
    motion: Array, at: int, size: int, last: int, first: bool, rate: float, band: Array, state: Array,
    banded: Waves, d: Array, derived: Waves, out: Array, start: int, count: int, edges: NDArray[np.int64], third: int,
    cells: Waves, row: int,
) -> None:  # fmt: skip
    """Fill `count` columns of `out` (COLUMNS, sectors) from column `start` on, one a sector.

    And as many rows of `cells` (4, rows, MOST) from `row` on, of lateral and vertical velocity, of acceleration and of
    that of the sibilance band; `edges` is what `cells.edges` gives, `third` the first sector's number modulo THIRDS.

    From `motion` (4, frames) from index `at` on; `d` and `derived` are what `rows` gives.

    `last` is the number of frames that count in the last sector, `first` whether the stream begins here. Reads MARGIN
    frames on either side. `banded` (2, size + 8) holds the sibilance band from two frames before a sector to two
    behind it; its end is carried on as the next one's beginning, as `state` is.
    """
    v, v_half, e = derived[0:4], derived[4:8], derived[8:10]
    a, a_half, low = derived[10:12], derived[12:14], derived[14]
    for number in range(count):
        k = start + number
        n = last if number == count - 1 else size
        _read(motion, at + number * size - 8, n + AHEAD + 16, d, e, low)  # from eight frames before the sector on
        for c in range(2):  # inner and outer wall, then lateral and vertical
            out[c, k], out[2 + c, k] = crest_and_trough(d[c], 8, 8 + n)
            out[4 + 2 * c, k], out[5 + 2 * c, k] = crest_and_trough(d[2 + c], 8, 8 + n)
        for c in range(2):  # from two frames before the sector on
            derivatives(e[c], 6, rate, n + AHEAD + 4, v[c], v_half[c], a[c], a_half[c])
            out[12 + c, k] = peak_by_cell(a[c, 1:], a_half[c, 1:], n, edges, third, cells[2], row)
            out[14 + c, k] = sum_of_squares(a[c], 2, n + 2) / n
        turn(v, n + 4)
        turn(v_half, n + 4)
        for c in range(2):
            out[10 + c, k] = peak(v[c, 1:], v_half[c, 1:], n)
            out[8 + c, k] = peak_by_cell(v[2 + c, 1:], v_half[2 + c, 1:], n, edges, third, cells[c], row)
        if first and number == 0:  # what a later sector finds done by the one before it
            cascade.run_all(a, index(2), index(AHEAD), band, state, v, index(0))
            for c in range(2):
                banded[c, 2], banded[c, 3] = v[c, AHEAD - 2], v[c, AHEAD - 1]
        cascade.run_all(a, 2 + AHEAD, n, band, state, banded, index(4))
        for c in range(2):
            out[16 + c, k] = peak_on_by_cell(banded[c], n, edges, third, cells[3], row)
            for j in range(4):
                banded[c, j] = banded[c, n + j]
        out[18, k] = peak_on(low, index(8), n + 8)
        third, row = (third + 1) % THIRDS, row + 1


@kernel
def _read(motion: Array, at: int, count: int, d: Array, e: Waves, low: Waves) -> None:
    """Take `count` frames of motion from index `at` on apart, and up to WIDE - 1 more.

    Into d (4, ...) the walls, lateral and vertical; into e (2, ...) the steps of the walls from frame to frame; into
    low the vertical displacement below 300 Hz, as float32.
    """
    left, right, low_left, low_right = motion[0], motion[1], motion[2], motion[3]
    left_d, right_d, lateral, vertical, left_e, right_e = d[0], d[1], d[2], d[3], e[0], e[1]
    root = splat(np.sqrt(0.5))
    for i in range(0, count, WIDE):
        k = at + i
        a, b = load(left, k), load(right, k)
        store(left_d, i, a)
        store(right_d, i, b)
        store(lateral, i, root * (a + b))
        store(vertical, i, root * (a - b))
        store(left_e, i, narrow(a - load(left, k - 1)))
        store(right_e, i, narrow(b - load(right, k - 1)))
        store(low, i, narrow(root * (load(low_left, k + LOW_LATE) - load(low_right, k + LOW_LATE))))
