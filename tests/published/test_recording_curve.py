"""The recording characteristic through the motion tap against table 1a of the standard's time constants (EQ-3).

The table is computed from 3180/318/75 us (IEC 60098); subsonic and top are divided out by their own closed forms.
"""

import numpy as np
import pytest

from qc.dsp.meters.extremes import FIRST
from qc.groove.signal.band_limit import motion_rate
from qc.groove.signal.wall_motion import Motion
from qc.model.cutting_chain import Signal
from qc.testing.drive import through

TABLE_1A = {  # Hz: replay gain dB, phase degrees
    20: (19.274, -20.0), 25: (18.954, -24.4), 30: (18.593, -28.3), 31.5: (18.478, -29.4), 40: (17.792, -35.1),
    50: (16.946, -40.6), 60: (16.101, -45.0), 63: (15.852, -46.1), 70: (15.283, -48.4), 80: (14.506, -51.0),
    90: (13.774, -53.2), 100: (13.088, -54.8), 125: (11.563, -57.5), 150: (10.271, -58.9), 160: (9.809, -59.2),
    200: (8.219, -59.6), 250: (6.677, -58.9), 300: (5.484, -57.6), 315: (5.179, -57.2), 400: (3.784, -54.9),
    500: (2.648, -52.6), 600: (1.841, -50.9), 700: (1.234, -49.7), 800: (0.751, -49.1), 1000: (0.0, -49.0),
    1250: (-0.744, -50.0), 1500: (-1.395, -51.8), 1600: (-1.643, -52.6), 2000: (-2.589, -55.9),
    2122: (-2.866, -56.9), 2500: (-3.700, -59.8), 3000: (-4.740, -63.2), 3150: (-5.038, -64.2),
    4000: (-6.605, -68.5), 5000: (-8.210, -72.1), 6000: (-9.599, -74.8), 6300: (-9.980, -75.5),
    7000: (-10.816, -76.8), 8000: (-11.894, -78.4), 9000: (-12.860, -79.6), 10000: (-13.734, -80.6),
    11000: (-14.531, -81.4), 12000: (-15.264, -82.1), 12500: (-15.609, -82.4), 13000: (-15.941, -82.7),
    14000: (-16.570, -83.2), 15000: (-17.157, -83.7), 16000: (-17.708, -84.1), 17000: (-18.226, -84.4),
    18000: (-18.716, -84.7), 19000: (-19.180, -85.0), 20000: (-19.620, -85.2),
}  # fmt: skip
RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)


def displaced(rate):
    """Frequency response of the tap as it is, a displacement, from an impulse, without one common delay."""
    seconds = 2
    x = np.zeros((2, seconds * rate))
    at = rate // 10
    x[:, at] = 1.0
    d = through(Motion(Signal()), x, rate)[0]
    motion = motion_rate(rate)
    d = d[: seconds * motion]
    hz = np.fft.rfftfreq(len(d), 1.0 / motion)
    return hz, np.fft.rfft(d) * np.exp(2j * np.pi * hz * at / rate) * rate / motion


def measured(rate):
    """Frequency response as a velocity, by the derivative that the groove itself is read with."""
    hz, displacement = displaced(rate)
    motion = motion_rate(rate)
    w = 2.0 * np.pi * hz / motion
    derivative = 1j * motion * sum(2.0 * tap * np.sin((k + 1) * w) for k, tap in enumerate(FIRST))
    return hz, displacement * derivative


def subsonic(f):
    """2nd-order Butterworth high-pass at 10 Hz."""
    s = 1j * np.asarray(f) / 10.0
    return s * s / (s * s + np.sqrt(2.0) * s + 1.0)


@pytest.mark.parametrize("rate", RATES)
def test_gain_within_a_twentieth_and_phase_within_two_degrees(rate):
    hz, response = measured(rate)
    f = np.array(list(TABLE_1A))
    table_gain, table_phase = np.array(list(TABLE_1A.values())).T
    at = np.round(f * 2.0).astype(int)
    np.testing.assert_allclose(hz[at], f)
    plain = response[at] / subsonic(f)
    gain = 20.0 * np.log10(np.abs(plain))
    assert np.abs(gain + table_gain).max() < 0.05  # recording is the inverse of replay
    phase = np.degrees(np.angle(plain * np.exp(1j * np.radians(table_phase))))
    assert np.abs(phase).max() < 2.0  # no common delay is left to take out


@pytest.mark.parametrize("rate", RATES)
def test_nothing_is_left_above_the_top(rate):
    """At least -50 dB from 24.1 kHz, up to half the motion rate (the model's own number, practice).

    Against the curve at 20 kHz, which is its highest in the pass band, and by the exact derivative 2 pi i f: the one
    that the groove is read with falls to nothing at half the rate and would hide the images there.
    """
    hz, displacement = displaced(rate)
    velocity = 2.0 * np.pi * hz * np.abs(displacement)
    assert hz[-1] == motion_rate(rate) / 2.0
    left = velocity[hz >= 24_100.0].max() / np.interp(20_000.0, hz, velocity)
    assert 20.0 * np.log10(left) < -50.0
