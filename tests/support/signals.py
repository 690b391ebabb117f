"""Signals with soft ends, in one channel or two, and a meter driven block by block."""

from __future__ import annotations

import numpy as np


def tone(hz, seconds, rate, peak=1.0, phase=0.0, fade=0.25):
    """A sine with raised-cosine ends, so that no click outweighs it."""
    t = np.arange(round(seconds * rate)) / rate
    ends = np.clip(np.minimum(t, t[::-1]) / fade, 0.0, 1.0)
    return peak * np.sin(2.0 * np.pi * hz * t + phase) * 0.5 * (1.0 - np.cos(np.pi * ends))


def both(x):
    """The same in both channels: lateral."""
    return np.vstack([x, x])


def opposed(x):
    """Opposite in the two channels: vertical."""
    return np.vstack([x, -x])


def pushed(meter, x, sizes=()):
    """Push x (2, n) into a meter in blocks of some sizes, the rest in one more; return its result."""
    at = 0
    for size in (*sizes, x.shape[1]):
        meter.push(x[:, at : at + size])
        at = min(at + size, x.shape[1])
    return meter.finish()


def eq_3(hz):
    """Magnitude of the playback characteristic with time constants of 3180, 318 and 75 us."""
    w = 2.0 * np.pi * hz
    return abs((1 + 1j * w * 318e-6) / ((1 + 1j * w * 3180e-6) * (1 + 1j * w * 75e-6)))
