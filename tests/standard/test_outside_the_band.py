"""Levels below 18 Hz and above 20 kHz, against scipy's own spectrum of the whole array and the rms of a sine."""

import numpy as np
import pytest
from scipy import signal

from qc.testing.drive import run_need
from qc_standard.spectrum.outside import OutsideTheBand


def levels(samples, rate):
    return run_need(OutsideTheBand(), samples, rate, 65_536)


@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
def test_noise_has_the_levels_that_scipy_finds_in_the_whole_of_it(rate):
    samples = 0.05 * np.random.default_rng(3).standard_normal((2, 30 * rate))
    samples[1] *= 0.5
    low, high = levels(samples, rate)
    frequencies, density = signal.welch(samples[0], rate, nperseg=8_192)
    above = density[frequencies >= 20_000.0].sum() * (frequencies[1] - frequencies[0])
    assert high.value == pytest.approx(10.0 * np.log10(above), abs=0.2)
    below = 10.0 * np.log10(0.05**2 * (18.0 - 1.5) / (rate / 2.0))
    assert below - 1.0 < low.value < below + 3.0  # the loudest 10 s of a band with a few hundred independent values
    assert (low.at.channel, high.at.channel) == ("left", "left")


@pytest.mark.parametrize("hz", [3.0, 10.0, 16.0])
def test_a_slow_sine_has_its_rms_and_its_place(hz):
    rate = 48_000
    samples = np.zeros((2, 60 * rate))
    t = np.arange(15 * rate) / rate
    samples[1, 30 * rate : 45 * rate] = 0.1 * np.sin(2.0 * np.pi * hz * t)
    low, _ = levels(samples, rate)
    assert low.value == pytest.approx(-23.01, abs=0.1)
    assert low.at.channel == "right"
    assert 29.0 <= low.at.start_s < low.at.end_s <= 46.0


@pytest.mark.parametrize("samples", [np.zeros((2, 300_000)), np.zeros((2, 10))])
def test_silence_has_nothing_there(samples):
    assert all(level is None or level.value < -120.0 for level in levels(samples, 96_000))
