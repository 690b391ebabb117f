"""The correlation by octave along a side, against scipy's band-passes and the closed form of two mixed noises."""

import numpy as np
import pytest
from scipy import signal

from qc.testing.drive import run_need
from qc_standard.channels.octave_correlation import OCTAVES, OctaveCorrelation

RATE = 48_000
HZ = [1000.0 * 2.0**k for k in range(-5, 5)]


def mixed(shares, seconds, seed=2):
    """White noise (2, frames) whose right channel has the left one in `share` of its power, by stretches."""
    rng, parts = np.random.default_rng(seed), []
    for share in shares:
        left, other = 0.1 * rng.standard_normal((2, seconds * RATE))
        parts.append(np.stack([left, np.sign(share) * np.sqrt(abs(share)) * left + np.sqrt(1.0 - abs(share)) * other]))
    return np.concatenate(parts, axis=1)


def correlations(samples, rate=RATE):
    return run_need(OctaveCorrelation(), samples, rate, 65_536)


@pytest.mark.parametrize("share", [-0.64, 0.0, 0.25, 1.0])
def test_two_noises_have_the_root_of_their_common_power_in_every_octave(share):
    found = correlations(mixed([share], 40))
    expected = np.sign(share) * np.sqrt(abs(share))
    for octave in range(3, len(OCTAVES)):  # the low ones have too few independent values in 10 s
        assert found.median(octave) == pytest.approx(expected, abs=0.12 if octave < 6 else 0.05)


def test_each_octave_has_the_correlation_that_scipys_band_pass_leaves():
    samples = mixed([0.0], 30)
    for hz, share in ((250.0, 0.9), (1_000.0, -0.5), (8_000.0, 0.6)):
        sos = signal.butter(4, [hz / 2**0.4, hz * 2**0.4], "bandpass", fs=RATE, output="sos")
        both = 20.0 * signal.sosfiltfilt(sos, samples[0])
        samples += np.stack([both, share * both])
    found = correlations(samples)
    for hz in (250.0, 1_000.0, 2_000.0, 8_000.0):
        sos = signal.butter(8, [hz / 2**0.5, hz * 2**0.5], "bandpass", fs=RATE, output="sos")
        left, right = signal.sosfiltfilt(sos, samples, axis=1)
        expected = np.corrcoef(left, right)[0, 1]
        assert found.median(HZ.index(hz)) == pytest.approx(expected, abs=0.06), hz


def test_the_least_lies_where_one_channel_is_reversed():
    need = OctaveCorrelation()
    numbers = need.publish(correlations(mixed([0.9, -0.9, 0.9, 0.9, 0.9], 20)))
    least = numbers["stereo.correlation_least_4_khz"]
    assert least.value == pytest.approx(-np.sqrt(0.9), abs=0.05)
    assert 19.0 <= least.at.start_s < least.at.end_s <= 41.5
    assert numbers["stereo.correlation_4_khz"].value == pytest.approx(np.sqrt(0.9), abs=0.05)


def test_a_pause_and_silence_have_no_correlation():
    need = OctaveCorrelation()
    samples = mixed([0.9, 0.0, 0.9], 20)
    samples[:, 20 * RATE : 40 * RATE] *= 1e-3
    numbers = need.publish(correlations(samples))
    assert numbers["stereo.correlation_least_4_khz"].value > 0.7
    for silent in (np.zeros((2, 12 * RATE)), np.zeros((2, 5)), mixed([0.0], 12) * [[1.0], [0.0]]):
        assert need.publish(correlations(silent)) == {}


def test_the_curves_are_those_of_three_octaves():
    need = OctaveCorrelation()
    curves = need.curves(correlations(mixed([0.81], 30)))
    assert list(curves) == [f"stereo.correlation_{octave}" for octave in ("63_hz", "1_khz", "8_khz")]
    curve = curves["stereo.correlation_8_khz"]
    assert curve.start_s == pytest.approx(5.0, abs=0.6)
    assert np.abs(curve.values - 0.9).max() < 0.05


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_the_octave_of_a_tone_is_its_own_at_every_rate(rate):
    t = np.arange(12 * rate) / rate
    left = 0.2 * np.sin(2.0 * np.pi * 1_000.0 * t)
    found = correlations(np.stack([left, -left]), rate)
    assert found.median(HZ.index(1_000.0)) == pytest.approx(-1.0, abs=1e-6)
    assert found.median(HZ.index(8_000.0)) is None
