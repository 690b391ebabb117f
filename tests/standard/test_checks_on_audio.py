"""Every shipped check on audio, through the whole command and the shipped ruleset as it stands.

A fault is planted where and as strong as a test says: its amplitude comes from the IEC time constants and the
alignment, its radius from the plain spiral of 69 um a turn before it and the pitch that it demands itself. It must
be found within 20 ms and 0.05 mm of there.
"""

import numpy as np
import pytest
from conftest import Sent, both, opposed, tone

from qc.testing.music import Song, song

RATE = 48_000
TURNS_A_SECOND = 100.0 / 3.0 / 60.0
OUTER_MM = 146.3
PLAIN_MM = 0.069  # top width 56 um and land 13 um
NEAR_S, NEAR_MM = 0.020, 0.05
G = 9.80665


# -- what is planted, by closed forms of its own ---------------------------------------------------------------


def curve(hz):
    """Recording characteristic, the inverse of 3180/318/75 us, over its value at 1 kHz, with the 10 Hz high-pass."""

    def gain(f):
        w = 2.0 * np.pi * f
        return abs((1.0 + 3180e-6j * w) * (1.0 + 75e-6j * w) / (1.0 + 318e-6j * w))

    return gain(hz) / gain(1_000.0) / np.sqrt(1.0 + (10.0 / hz) ** 4)


def velocity(hz, level=0.0):
    """m/s, peak, lateral or vertical, of a tone of full scale in both channels: -18 dBFS at 1 kHz cuts 5 cm/s."""
    return 0.05 * 10.0 ** ((18.0 + level) / 20.0) * curve(hz)


def peak_for_um(um, hz, level=0.0):
    """Amplitude, full scale 1, of a tone in both channels that moves the cutter by so many um."""
    return um * 1e-6 * 2.0 * np.pi * hz / velocity(hz, level)


def planted(shape, seconds, *faults):
    """A quiet wide programme at -46 dBFS with faults, each (samples, second of its middle)."""
    t = np.arange(round(seconds * RATE)) / RATE
    x = 0.005 * np.vstack([np.sin(2.0 * np.pi * 440.0 * t), np.sin(2.0 * np.pi * 554.0 * t + 1.0)])
    x *= np.clip(np.minimum(t, t[::-1]) / 0.1, 0.0, 1.0)
    for samples, middle in faults:
        start = round(middle * RATE) - len(samples) // 2
        x[:, start : start + len(samples)] += shape(samples)
    return x


def swell(hz, seconds, peak):
    """A tone that rises to its middle, where it has its crest, and falls again."""
    t = (np.arange(round(seconds * RATE)) - round(seconds * RATE) // 2) / RATE
    return peak * np.cos(2.0 * np.pi * hz * t) * np.cos(np.pi * t / seconds) ** 2


