"""The recording characteristic: from programme to groove displacement (EQ-1, EQ-3).

Displacement comes first: velocity rises with frequency and its integral is nearly flat, so plain bilinear
sections at 88.2 or 96 kHz are true within 0.02 dB to 20 kHz, where a bilinear velocity curve would not be.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.dsp.biquad import Sections, bilinear

T1, T2, T3 = 3180e-6, 318e-6, 75e-6
"""Time constants of the characteristic in s (EQ-1)."""


def gain(frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Complex recording gain at `frequency` in Hz, 0 dB at 1 kHz: the inverse of EQ-3."""

    def curve(s: NDArray[np.complex128]) -> NDArray[np.complex128]:
        return (1.0 + s * T1) * (1.0 + s * T3) / (1.0 + s * T2)

    at_1k = float(np.abs(curve(np.array([2j * np.pi * 1000.0], dtype=np.complex128)))[0])
    s = (2j * np.pi * np.asarray(frequency, dtype=np.float64)).astype(np.complex128)
    return curve(s) / at_1k


def displacement(subsonic: float, rate: float) -> Sections:
    """Two sections: displacement (in s, for a velocity gain of 1) with a 2nd-order Butterworth at `subsonic` Hz."""
    w = 2.0 * math.pi * subsonic
    s = 2j * math.pi * 1000.0
    scale = 1.0 / abs((1.0 + s * T1) * (1.0 + s * T3) / (1.0 + s * T2))
    slow = bilinear((T1 * scale, scale, 0.0), (1.0, math.sqrt(2.0) * w, w * w), rate)
    fast = bilinear((0.0, T3, 1.0), (0.0, T2, 1.0), rate)
    return np.vstack([slow, fast])
