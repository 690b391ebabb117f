"""The recording characteristic: from programme to groove displacement (EQ-1, EQ-3).

Displacement comes first: velocity rises with frequency and its integral is nearly flat, so two plain sections at
88.2 or 96 kHz follow it closely, where a velocity curve of the same order would not.
"""

from __future__ import annotations

import math

import numpy as np

from qc.dsp.filters import biquad
from qc.dsp.filters.biquad import Sections, response

T1, T2, T3 = 3180e-6, 318e-6, 75e-6
"""Time constants of the characteristic in s (EQ-1)."""


def displacement(subsonic: float, rate: float, cutter_pole: float = 0.0) -> Sections:
    """Two sections: displacement (in s, for a velocity gain of 1) with a 2nd-order Butterworth at `subsonic` Hz.

    A pole of the cutter head with the time constant `cutter_pole` in s is included; none at zero.

    Poles and zeros are the analogue ones, mapped by exp(s T). Each section has as many zeros as poles, so what
    the mapping does near half the rate cancels: within 0.001 dB to 20 kHz at 88.2 kHz, a bilinear curve 0.015.
    """

    def at(radians: float) -> float:
        return math.exp(-radians / rate)

    w = 2.0 * math.pi * subsonic
    a1, a2 = -2.0 * at(w / math.sqrt(2.0)) * math.cos(w / math.sqrt(2.0) / rate), at(w * math.sqrt(2.0))
    zero = at(1.0 / T1)
    slow = [1.0, -(1.0 + zero), zero, a1, a2]
    fast = [1.0, -at(1.0 / T3), 0.0, -at(1.0 / T2), 0.0]
    sections = np.array([slow, fast])
    at_1k = np.array([1000.0])
    wanted = 1.0 / (2.0 * math.pi * 1000.0) / math.sqrt(1.0 + (subsonic / 1000.0) ** 4)
    sections[0, :3] *= wanted / float(np.abs(response(sections, at_1k, rate))[0])
    if cutter_pole:  # both are of the first order: one section holds them
        b0, b1, _, a1, _ = biquad.pole(cutter_pole, rate)[0]
        sections[1, :3] = np.polymul(fast[:2], (b0, b1))
        sections[1, 3:] = np.polymul((1.0, fast[3]), (1.0, a1))[1:]
    return sections
