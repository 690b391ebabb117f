"""Peak of the band-limited wave behind the samples, 4x oversampled at every rate (ITU-R BS.1770-5, annex 2).

Also at 192 kHz, since a tone at a quarter of any rate may have its peaks 3 dB above its samples. Each of the
three values between two samples is the sum of 32 samples weighted by a Kaiser-windowed sinc, flat within
0.01 dB to 0.43 of the rate. The wave is looked at in segments on a grid that starts with the stream, and only
where it could beat the peak so far: no value between samples exceeds the greatest sample in reach times the
weights' absolute sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel
from qc.dsp.search import largest

Array = NDArray[np.float64]

HALF = 16
"""Samples on either side of a value between samples that it is made of."""
SEGMENT = 128
"""Frames in a segment."""
_BETA = 6.5


def between(fraction: float) -> Array:
    """Weights, (32,), that give the wave `fraction` of a frame after sample 15 of 32; they add to one."""
    distance = np.arange(2 * HALF) - (HALF - 1) - fraction
    window = np.i0(_BETA * np.sqrt(1.0 - (distance / HALF) ** 2)) / np.i0(_BETA)
    weights: Array = np.sinc(distance) * window
    return weights / weights.sum()


def _folded() -> tuple[Array, float]:
    """Give the weights of pairs of samples mirrored about the middle, (3, 16), and the greatest L1 norm.

    Rows: what 1/4 and 3/4 have in common, on a pair's sum; 1/2, on the sum; their rest, on the difference.
    """
    quarter, half = between(0.25), between(0.5)
    mirrored = quarter[::-1]
    rows = np.array([(quarter + mirrored)[:HALF] / 2.0, half[:HALF], (quarter - mirrored)[:HALF] / 2.0])
    greatest = max(float(np.abs(quarter).sum()), float(np.abs(half).sum()))
    return np.ascontiguousarray(rows), greatest * (1.0 + 1e-9)  # the sums are rounded, the bound must hold


WEIGHTS, BOUND = _folded()


@kernel
def oversample(x: Array, at: int, weights: Array, y: Array) -> None:
    """Set y (3, n) to the values 1/4, 1/2 and 3/4 of a frame after x[at], x[at + 1], ..."""
    common, half, opposite = y[0], y[1], y[2]
    n = y.shape[1]
    y[:, :] = 0.0
    for k in range(0, HALF, 4):  # four pairs a walk, so that y is loaded and stored a quarter as often
        a, b = x[at - HALF + 1 + k :], x[at + HALF - 3 - k :]
        c0, c1, c2, c3 = weights[0, k], weights[0, k + 1], weights[0, k + 2], weights[0, k + 3]
        h0, h1, h2, h3 = weights[1, k], weights[1, k + 1], weights[1, k + 2], weights[1, k + 3]
        o0, o1, o2, o3 = weights[2, k], weights[2, k + 1], weights[2, k + 2], weights[2, k + 3]
        for i in range(n):
            s0, d0 = a[i] + b[i + 3], a[i] - b[i + 3]
            s1, d1 = a[i + 1] + b[i + 2], a[i + 1] - b[i + 2]
            s2, d2 = a[i + 2] + b[i + 1], a[i + 2] - b[i + 1]
            s3, d3 = a[i + 3] + b[i], a[i + 3] - b[i]
            common[i] += (c0 * s0 + c1 * s1) + (c2 * s2 + c3 * s3)
            opposite[i] += (o0 * d0 + o1 * d1) + (o2 * d2 + o3 * d3)
            half[i] += (h0 * s0 + h1 * s1) + (h2 * s2 + h3 * s3)
    for i in range(n):
        common[i], opposite[i] = common[i] + opposite[i], common[i] - opposite[i]


@kernel
def _beat(x: Array, start: int, stop: int, best: float) -> int:
    """Index of the first of the greatest magnitudes of x[start:stop] that are above `best`, or -1."""
    top = largest(x, start, stop)[0]
    if top <= best:
        return -1
    i = start
    while abs(x[i]) != top:
        i += 1
    return i


@kernel
def scan(x: Array, at: int, frame: int, segments: int, weights: Array, bound: float, y: Array, best: Array) -> None:
    """Hear whole segments of x (2, n) from index `at` on, which is number `frame` of the stream.

    best (2, 4): greatest sample, its frame, greatest value, its place in quarter frames.
    """
    n = y.shape[1]
    for c in range(2):
        row, top = x[c], best[c]
        for i in range(at, at + segments * n, n):
            reach = largest(row, i - HALF + 1, i + n + HALF)[0]
            if reach > top[0]:
                j = _beat(row, i, i + n, top[0])
                if j >= 0:
                    top[0], top[1] = abs(row[j]), frame + j - at
                if top[0] > top[2]:
                    top[2], top[3] = top[0], 4.0 * top[1]
            if reach * bound > top[2]:
                oversample(row, i, weights, y)
                for phase in range(3):
                    j = _beat(y[phase], 0, n, top[2])
                    if j >= 0:
                        top[2], top[3] = abs(y[phase, j]), 4.0 * (frame + i - at + j) + 1.0 + phase


@dataclass(frozen=True, slots=True)
class Peak:
    """Peaks of one channel, full scale 1.0, and where they are in frames; true_frame in quarters."""

    sample: float
    sample_frame: int
    true: float
    true_frame: float


class TruePeak:
    """Sample peak and true peak of two channels; nothing is taken to lie before the stream and after it."""

    def __init__(self) -> None:
        # the frames from 15 before `next` on, and room to join the next block to them
        self._held = np.zeros((2, 4 * SEGMENT))
        self._filled = SEGMENT + HALF - 1  # the wave rings before the first frame: one segment of nothing
        self._next = -SEGMENT
        self._frames = 0
        self._y = np.empty((3, SEGMENT))
        self._best = np.zeros((2, 4))

    def push(self, x: Array) -> None:
        """Take the next frames, (2, n)."""
        self._frames += x.shape[1]
        self._hear(np.ascontiguousarray(x))

    def finish(self) -> tuple[Peak, Peak]:
        """Give the peaks of the left and right channel."""
        while self._next < self._frames + HALF:
            self._hear(np.zeros((2, SEGMENT)))
        last = float(max(0, self._frames - 1))
        left, right = (
            Peak(float(b[0]), int(b[1]), float(b[2]), min(max(0.0, float(b[3]) / 4.0), last)) for b in self._best
        )
        return left, right

    def _hear(self, x: Array) -> None:
        """Scan the segments across the border in a joint of both sides, the others where they are."""
        n, filled = x.shape[1], self._filled
        joined = min(n, self._held.shape[1] - filled)
        self._held[:, filled : filled + joined] = x[:, :joined]
        ready = self._ready(filled + joined)
        if joined == n:  # all of it is in the joint
            self._scan(self._held, HALF - 1, ready)
            keep = ready * SEGMENT
            self._filled = filled + n - keep
            self._held[:, : self._filled] = self._held[:, keep : filled + n].copy()
            return
        across = min(ready, -(-filled // SEGMENT))  # those whose reach begins before x
        self._scan(self._held, HALF - 1, across)
        start = across * SEGMENT - filled  # of x: where the reach of the next segment begins
        ready = self._ready(n - start)
        self._scan(x, start + HALF - 1, ready)
        start += ready * SEGMENT
        self._filled = n - start
        self._held[:, : self._filled] = x[:, start:]

    @staticmethod
    def _ready(frames: int) -> int:
        """Segments that can be worked out from so many frames, the reach of the first included."""
        return max(0, (frames - 2 * HALF + 1) // SEGMENT)

    def _scan(self, x: Array, at: int, segments: int) -> None:
        if segments:
            scan(x, at, self._next, segments, WEIGHTS, BOUND, self._y, self._best)
            self._next += segments * SEGMENT
