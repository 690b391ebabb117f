"""Peaks, clipped runs and direct current of two channels, in one sweep.

The sweep takes segments on a grid that starts with the stream. A vector of running maxima says whether a segment
could hold a clipped run or a peak above the one so far; only where it could is it looked at frame by frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel, read_only
from qc.dsp.kernels.simd import any_at_least, greater, lesser, loader, magnitude, splatter, store
from qc.dsp.meters import flat_tops
from qc.dsp.meters import runs as clipped
from qc.dsp.meters.truepeak import BOUND, HALF, STEP, WEIGHTS, oversample
from qc.dsp.meters.windows import keep

Array = NDArray[np.float64]

SEGMENT = 128
"""Frames in a segment."""
_REACH = HALF + SEGMENT + HALF
"""Frames that the wave over a segment is made of."""
_LEAST = 1e-300
"""Below any peak: nothing is looked for in digital silence."""
_load, _splat = loader(8), splatter(8)


@dataclass(frozen=True, slots=True)
class Peak:
    """Peaks of one channel, full scale 1.0, and where they are in frames; true_frame in quarters."""

    sample: float
    sample_frame: int
    true: float
    true_frame: float


@kernel
def _pass_over(row: Array, at: int, stop: int, runs_from: float, wave_from: float, totals: Array) -> int:
    """Pass over segments from index `at` to `stop` and give where one begins that must be looked at, else `stop`.

    That is one with a sample of `runs_from`, or over which a wave may lie that rises from samples of `wave_from`, or
    that may hold a flat top. All of them, that one too, are added to `totals` (16,) by place.
    """
    total, more = _load(totals, 0), _load(totals, 8)
    clipping, rising, loud = _splat(runs_from), _splat(wave_from), _splat(flat_tops.LEAST)
    while at < stop:
        above = below = _load(row, at)
        above_on = below_on = _load(row, at + 8)
        for i in range(at, at + SEGMENT, 16):
            v, w = _load(row, i), _load(row, i + 8)
            total, more = total + v, more + w
            above, above_on = greater(v, above), greater(w, above_on)
            below, below_on = lesser(v, below), lesser(w, below_on)
        largest = greater(greater(above, above_on), _splat(0.0) - lesser(below, below_on))
        if any_at_least(largest, clipping):
            break
        v, w, v_on, w_on = (
            _load(row, at - 16),
            _load(row, at + SEGMENT),
            _load(row, at - 8),
            _load(row, at + SEGMENT + 8),
        )
        above, above_on = greater(above, greater(v, w)), greater(above_on, greater(v_on, w_on))
        below, below_on = lesser(below, lesser(v, w)), lesser(below_on, lesser(v_on, w_on))
        near = greater(greater(above, above_on), _splat(0.0) - lesser(below, below_on))
        if any_at_least(near, rising):
            break
        if any_at_least(near, loud) and (
            flat_tops.plateau(above, above_on) or flat_tops.plateau(_splat(0.0) - below, _splat(0.0) - below_on)
        ):
            break
        at += SEGMENT
    store(totals, 0, total)
    store(totals, 8, more)
    return at


@kernel
def _follow_wave(row: Array, at: int, frame: int, weights: Array, bound: float, y: Array, top: Array) -> None:
    """Look for the peak between the samples of the segment from index `at` on, which is number `frame`."""
    for start in range(at, at + SEGMENT, STEP):
        near = _splat(0.0)
        for i in range(start - HALF, start + STEP + HALF, 8):
            near = greater(magnitude(_load(row, i)), near)
        if any_at_least(near, _splat(top[2] / bound)) and any_at_least(
            oversample(row, start, weights, y), _splat(top[2])
        ):
            for i in range(3 * STEP):
                j = i // 3 + i % 3 * STEP  # in the order of time
                if abs(y[j]) > top[2]:
                    top[2], top[3] = abs(y[j]), 4.0 * (frame + start - at + i // 3) + 1.0 + i % 3


@kernel
def _look(
    row: Array, at: int, frame: int, weights: Array, bound: float, y: Array, top: Array, tops: Array,
    runs: NDArray[np.int64], tops_then: Array, flats: Array,
) -> None:  # fmt: skip
    """Look for clipped runs, flat tops and peaks in the segment from index `at` on, number `frame` of the stream.

    top (4,): greatest sample, its frame, greatest value, its place in quarter frames.
    """
    largest = _splat(0.0)
    for i in range(at, at + SEGMENT, 8):
        largest = greater(magnitude(_load(row, i)), largest)
    if any_at_least(largest, _splat(min(tops[0], tops[1]))):
        clipped.follow(row, at, at + SEGMENT, frame, tops, runs)
    else:
        clipped.interrupt(runs)
    flat_tops.follow(row, at, at + SEGMENT, frame, tops, tops_then, flats, y)
    if any_at_least(largest, _splat(top[0])):
        for i in range(SEGMENT):
            if abs(row[at + i]) > top[0]:
                top[0], top[1] = abs(row[at + i]), frame + i
        if top[0] > top[2]:
            top[2], top[3] = top[0], 4.0 * top[1]
    _follow_wave(row, at, frame, weights, bound, y, top)


@kernel
def _segments(
    row: Array, at: int, stop: int, frame: int, weights: Array, bound: float, y: Array, top: Array, tops: Array,
    runs: NDArray[np.int64], totals: Array, tops_then: Array, flats: Array,
) -> None:  # fmt: skip
    """Sweep the segments of one channel from index `at`, which is number `frame` of the stream, to `stop`."""
    zero = frame - at
    while at < stop:
        found = _pass_over(row, at, stop, min(tops[0], tops[1]), max(_LEAST, top[2] / bound), totals)
        if found > at:
            clipped.interrupt(runs)
            flat_tops.interrupt(flats)
        if found < stop:
            _look(row, found, zero + found, weights, bound, y, top, tops, runs, tops_then, flats)
        at = found + SEGMENT


@kernel
def _whole(frames: int) -> int:
    """Frames of the segments that can be worked out from so many, the reach of the first included."""
    return max(0, (frames - 2 * HALF) // SEGMENT) * SEGMENT


@kernel
def sweep(
    x: Array, filled: int, frame: int, buffer: Array, weights: Array, bound: float, y: Array, best: Array,
    tops: Array, runs: NDArray[np.int64], totals: Array, tops_then: Array, flats: Array,
) -> int:  # fmt: skip
    """Sweep all segments that x (2, n) completes; return their frames.

    `buffer` begins with `filled` frames, of which the wave over segment number `frame` is made; afterwards with
    those of the next segment.
    """
    n = x.shape[1]
    joined = min(n, buffer.shape[1] - filled)
    keep(x, -filled, joined, buffer)
    border = min(_whole(filled + joined), -(-filled // SEGMENT) * SEGMENT)  # those whose reach begins before x
    done = border + _whole(n + filled - border) if border >= filled else border
    for half in range(4):
        c, in_x = half // 2, half % 2
        row, first, stop = (x[c], border - filled, done - filled) if in_x else (buffer[c], 0, border)
        _segments(
            row, HALF + first, HALF + stop, frame + in_x * border, weights, bound, y, best[c], tops[c], runs[c],
            totals[c], tops_then[c], flats[c],
        )  # fmt: skip
    if done < filled:
        keep(buffer, done, n + filled, buffer)
    else:
        keep(x, done - filled, n, buffer)
    return done


class PeakSweep:
    """Peaks, clipped runs and means of two channels; nothing is taken to lie before the stream and after it."""

    def __init__(self) -> None:
        self._buffer = np.zeros((2, 2 * _REACH))
        self._filled, self._next = HALF + SEGMENT, -SEGMENT  # the wave rings before the first frame
        self._weights, self._y = WEIGHTS.reshape(-1), np.empty(3 * STEP)
        self._best, self._totals = np.zeros((2, 4)), np.zeros((2, 16))
        self._tops, self._runs = clipped.fresh()
        self._tops_then, self._flats = self._tops.copy(), flat_tops.fresh()
        self._frames = 0

    def push(self, x: Array) -> None:
        """Take the next frames, (2, n)."""
        self._frames += x.shape[1]
        self._sweep(np.ascontiguousarray(x))

    def finish(self) -> tuple[tuple[Peak, Peak], tuple[clipped.Runs, clipped.Runs], Array]:
        """Return the peaks and the clipped runs of the left and right channel, and the means, (2,), of all frames."""
        while self._next < self._frames + HALF:
            self._sweep(np.ascontiguousarray(np.zeros((2, SEGMENT))))
        last = float(max(0, self._frames - 1))
        left, right = (
            Peak(float(b[0]), int(b[1]), float(b[2]), min(max(0.0, float(b[3]) / 4.0), last)) for b in self._best
        )
        return (
            (left, right),
            (clipped.together(self._runs[0]), clipped.together(self._runs[1])),
            self._totals.sum(axis=1) / max(1, self._frames),
        )

    def flat_tops(self) -> tuple[flat_tops.FlatRuns, flat_tops.FlatRuns]:
        """Return the flat tops of the left and right channel, after `finish`."""
        return flat_tops.found(self._flats[0]), flat_tops.found(self._flats[1])

    def _sweep(self, x: Array) -> None:
        done = sweep(
            read_only(x), self._filled, self._next, self._buffer, self._weights, BOUND, self._y, self._best, self._tops,
            self._runs, self._totals, self._tops_then, self._flats,
        )  # fmt: skip
        self._filled += x.shape[1] - done
        self._next += done
