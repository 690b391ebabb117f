"""K-weighting, the frequency weighting of loudness (ITU-R BS.1770-5, annex 1), at any rate.

The published coefficients are for 48 kHz. Other rates are transformed anew from the analogue prototype; only
the high-pass's gain is kept at what it is at 48 kHz, where its published numerator 1, -2, 1 passes +0.043 dB.
That gain moves with the rate otherwise: the same programme would read 0.036 LU apart at 44.1 and 192 kHz.
"""

from __future__ import annotations

import math

import numpy as np

from qc.dsp.filters.biquad import Sections

SHELF_48K = (1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585)
"""The head's shelf at 48 kHz as published: b0, b1, b2, a1, a2."""
HIGH_PASS_48K = (1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621)
"""The high-pass at 48 kHz as published."""

SHELF_HZ, SHELF_DB, SHELF_Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
"""Analogue prototype of the shelf: corner, gain of the treble, Q."""
SHELF_MIDDLE = 0.4996667741545416
"""Exponent of the treble's gain in the prototype's middle term, which makes the published numerator."""
HIGH_PASS_HZ, HIGH_PASS_Q = 38.13547087602444, 0.5003270373238773
"""Analogue prototype of the high-pass."""


def k_weighting(rate: float) -> Sections:
    """Return the shelf and the high-pass, (2, 5), for `rate` frames a second (ITU-R BS.1770-5, annex 1)."""
    if rate == 48_000:
        return np.array([SHELF_48K, HIGH_PASS_48K])
    return np.array([_shelf(rate), _high_pass(rate)])


def _shelf(rate: float) -> tuple[float, float, float, float, float]:
    """Transform (s^2 Vh + s Vb/Q + 1) / (s^2 + s/Q + 1), exact at its corner."""
    k = math.tan(math.pi * SHELF_HZ / rate)
    high = 10.0 ** (SHELF_DB / 20.0)
    middle = high**SHELF_MIDDLE * k / SHELF_Q
    a1, a2, a0 = _poles(k, SHELF_Q)
    return (high + middle + k * k) / a0, 2.0 * (k * k - high) / a0, (high - middle + k * k) / a0, a1, a2


def _high_pass(rate: float) -> tuple[float, float, float, float, float]:
    """Transform s^2 / (s^2 + s/Q + 1) and give its pass band the gain that it has at 48 kHz."""
    a1, a2, _ = _poles(math.tan(math.pi * HIGH_PASS_HZ / rate), HIGH_PASS_Q)
    # at half the rate the gain is 4 b0 / (1 - a1 + a2)
    b0 = (1.0 - a1 + a2) / (1.0 - HIGH_PASS_48K[3] + HIGH_PASS_48K[4])
    return b0, -2.0 * b0, b0, a1, a2


def _poles(k: float, q: float) -> tuple[float, float, float]:
    """Return a1 and a2 of a second-order section, and the a0 that they and its numerator were divided by."""
    a0 = 1.0 + k / q + k * k
    return 2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0, a0
