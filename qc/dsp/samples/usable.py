"""Finds samples that are not finite or absurdly large, before any filter meets them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel

Array = NDArray[np.float64]


@kernel
def first_unusable(x: Array, most: float) -> int:
    """Index of the first frame of x (channels, n) with a sample not within +/-most, or -1; NaN is within nothing."""
    first = x.shape[1]
    for c in range(x.shape[0]):
        count = 0
        for i in range(x.shape[1]):
            count += not (abs(x[c, i]) <= most)
        if count:
            i = 0
            while abs(x[c, i]) <= most:
                i += 1
            first = min(first, i)
    return first if first < x.shape[1] else -1
