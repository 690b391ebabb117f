"""The band-limited wave behind the samples, 4x oversampled at every rate (ITU-R BS.1770-5, annex 2).

Also at 192 kHz, since a tone at a quarter of any rate may have its peaks 3 dB above its samples. Each of the
three values between two samples is the sum of 32 samples weighted by a Kaiser-windowed sinc, flat within
0.01 dB to 0.43 of the rate. No value between samples exceeds the greatest sample in reach times the weights'
absolute sum, so a stretch of the wave need only be looked at where that could beat the peak so far.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel
from qc.dsp.kernels.simd import greater, loader, magnitude, repeater, splatter, store

Array = NDArray[np.float64]

HALF = 16
"""Samples on either side of a value between samples that it is made of."""
STEP = 16
"""Samples behind which the wave is worked out at once."""
_BETA = 6.5
_load, _splat, _each = loader(8), splatter(8), repeater(8)


def between(fraction: float) -> Array:
    """Weights, (32,), that give the wave `fraction` of a frame after sample 15 of 32; they add to one."""
    distance = np.arange(2 * HALF) - (HALF - 1) - fraction
    window = np.i0(_BETA * np.sqrt(1.0 - (distance / HALF) ** 2)) / np.i0(_BETA)
    weights: Array = np.sinc(distance) * window
    return weights / weights.sum()


def _folded() -> tuple[Array, float]:
    """Return the weights of pairs of samples mirrored about the middle, (3, 16), and the greatest L1 norm.

    Rows: what 1/4 and 3/4 have in common, on a pair's sum; 1/2, on the sum; their rest, on the difference.
    """
    quarter, half = between(0.25), between(0.5)
    mirrored = quarter[::-1]
    rows = np.array([(quarter + mirrored)[:HALF] / 2.0, half[:HALF], (quarter - mirrored)[:HALF] / 2.0])
    greatest = max(float(np.abs(quarter).sum()), float(np.abs(half).sum()))
    return np.ascontiguousarray(rows), greatest * (1.0 + 1e-9)  # the sums are rounded, the bound must hold


WEIGHTS, BOUND = _folded()


@kernel
def oversample(x: Array, at: int, weights: Array, y: Array) -> Any:
    """Work out the values 1/4, 1/2 and 3/4 of a frame after each of the STEP samples from x[at] on.

    They go one after another into y (3 STEP,); `weights` are those of `WEIGHTS`, in one row. Gives the greatest
    magnitudes in eight lanes.
    """
    c = h = o = c_on = h_on = o_on = _splat(0.0)  # common, half, opposite: of eight frames, and of the next eight
    for k in range(HALF):
        before, behind = at - HALF + 1 + k, at + HALF - k
        wc, wh, wo = (
            _each(weights, k), _each(weights, HALF + k), _each(weights, 2 * HALF + k),
        )  # fmt: skip
        a, b = _load(x, before), _load(x, behind)
        c, h, o = c + wc * (a + b), h + wh * (a + b), o + wo * (a - b)
        a, b = _load(x, before + 8), _load(x, behind + 8)
        c_on, h_on, o_on = c_on + wc * (a + b), h_on + wh * (a + b), o_on + wo * (a - b)
    first, first_on, last, last_on = c + o, c_on + o_on, c - o, c_on - o_on
    store(y, 0, first)
    store(y, 8, first_on)
    store(y, STEP, h)
    store(y, STEP + 8, h_on)
    store(y, 2 * STEP, last)
    store(y, 2 * STEP + 8, last_on)
    most = greater(greater(magnitude(first), magnitude(last)), magnitude(h))
    return greater(most, greater(greater(magnitude(first_on), magnitude(last_on)), magnitude(h_on)))
