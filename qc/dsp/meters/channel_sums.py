"""Sums of the samples of each channel over consecutive short windows: their direct current."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel
from qc.dsp.meters.windows import LANES, Windows, keep, load, splat, total

Array = NDArray[np.float64]


@kernel
def channel_sums(x: Array, filled: int, window: int, buffer: Array, mask: Array, out: Array) -> None:
    """Set each row of `out` to the sums of L and R of a window; see `Windows.add`.

    `mask` has ones where the last lanes of a window still belong to it.
    """
    reach = -(-window // LANES) * LANES
    at, last = -filled, load(mask, 0)
    for k in range(out.shape[0]):
        source, first = x, at
        if at < 0 or at + reach > x.shape[1]:  # it begins before x, or its last vector ends behind it
            keep(x, at, at + window, buffer)
            source, first = buffer, 0
        left, right = source[0], source[1]
        l1 = r1 = splat(0.0)
        whole = first + window // LANES * LANES
        for i in range(first, whole, LANES):
            l1, r1 = l1 + load(left, i), r1 + load(right, i)
        if window % LANES:
            l1, r1 = l1 + last * load(left, whole), r1 + last * load(right, whole)
        out[k, 0], out[k, 1] = total(l1), total(r1)
        at += window
    keep(x, at, x.shape[1], buffer)


class ChannelSums(Windows):
    """Sums of L and R over windows of `window` frames from frame 0 on."""

    def __init__(self, window: int, frames: int = 0) -> None:
        super().__init__(window, 2, frames)

    def add(self, x: Array, filled: int, window: int, last: Array, out: Array) -> None:
        """Sum up as many windows as `out` has rows."""
        channel_sums(x, filled, window, self.buffer, last, out)
