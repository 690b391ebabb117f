"""Sums of the samples of each channel over consecutive short windows, and of products of their differences.

The sums are the direct current. The differences between neighbouring samples rise by 6 dB an octave and know nothing
of direct current, so that the treble has as much to say in them as the bass has in the samples.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel
from qc.dsp.windows import LANES, Windows, keep, load, splat, total

Array = NDArray[np.float64]


@kernel
def channel_sums(x: Array, filled: int, window: int, held: Array, mask: Array, out: Array) -> None:
    """Set each row of `out` to the sums of L, R, l^2, r^2 and l r of a window; see `Windows.add`.

    l and r are the differences between neighbouring samples, those within the window only. `mask` has ones where the
    last lanes of a window still belong to it.
    """
    reach = -(-window // LANES) * LANES
    at, last = -filled, load(mask, 0)
    for k in range(out.shape[0]):
        source, first = x, at
        if at < 0 or at + reach > x.shape[1]:  # it begins before x, or its last vector ends behind it
            keep(x, at, at + window, held)
            source, first = held, 0
        left, right = source[0], source[1]
        l1 = r1 = l2 = r2 = lr = splat(0.0)
        whole = first + window // LANES * LANES
        for i in range(first, whole, LANES):
            l1, r1 = l1 + load(left, i), r1 + load(right, i)
        if window % LANES:
            l1, r1 = l1 + last * load(left, whole), r1 + last * load(right, whole)
        stop = first + window
        steps = first + (window - 1) // LANES * LANES
        for i in range(first, steps, LANES):
            a, b = load(left, i + 1) - load(left, i), load(right, i + 1) - load(right, i)
            l2, r2, lr = l2 + a * a, r2 + b * b, lr + a * b
        out[k, 0], out[k, 1] = total(l1), total(r1)
        out[k, 2], out[k, 3], out[k, 4] = total(l2), total(r2), total(lr)
        for i in range(steps, stop - 1):  # what fills no vector
            c, d = left[i + 1] - left[i], right[i + 1] - right[i]
            out[k, 2] += c * c
            out[k, 3] += d * d
            out[k, 4] += c * d
        at += window
    keep(x, at, x.shape[1], held)


class ChannelSums(Windows):
    """Sums of L, R and of the products of their differences over windows of `window` frames from frame 0 on."""

    def __init__(self, window: int, frames: int = 0) -> None:
        super().__init__(window, 5, frames)

    def last_lanes(self, window: int) -> Array:
        """Give a mask of the lanes that still belong to the window."""
        return (np.arange(LANES) < window % LANES).astype(np.float64)

    def add(self, x: Array, filled: int, window: int, last: Array, out: Array) -> None:
        """Sum up as many windows as `out` has rows."""
        channel_sums(x, filled, window, self.held, last, out)
