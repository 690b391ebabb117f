"""The noise floor and its slope, against noise that scipy shaped to a known level and slope."""

import numpy as np
import pytest
from scipy import signal

from qc.testing.drive import run_need
from qc_standard.noise.floor import NoiseFloor

RATE = 48_000


def shaped(slope, seconds, rate=RATE, seed=1):
    """Noise (2, n) whose power changes by `slope` dB an octave above 200 Hz, with an rms of 1 from 20 Hz to 20 kHz."""
    at = np.linspace(0.0, rate / 2.0, 1025)
    gain = (np.maximum(at, 200.0) / 1_000.0) ** (slope / (20.0 * np.log10(2.0)))
    weights = signal.firwin2(2047, at, gain, fs=rate)
    white = np.random.default_rng(seed).standard_normal((2, int(rate * seconds) + 2046))
    noise = signal.fftconvolve(white, weights[None], axes=1, mode="valid")
    frequencies, density = signal.welch(noise[0], rate, nperseg=4_096)
    inside = (frequencies >= 20.0) & (frequencies <= 20_000.0)
    return noise / np.sqrt(density[inside].sum() * (frequencies[1] - frequencies[0]))


def music(seconds, rate=RATE):
    t = np.arange(int(rate * seconds)) / rate
    swing = 0.3 * (0.55 + 0.45 * np.sin(2 * np.pi * 1.7 * t))
    return np.stack([swing * np.sin(2 * np.pi * hz * t) for hz in (440.0, 554.0)])


def with_pause(noise_level, slope, rate=RATE):
    """Twelve seconds of music under noise that is alone for 6 s in their middle."""
    x = np.concatenate([music(6.0, rate), np.zeros((2, 6 * rate)), music(6.0, rate)], axis=1)
    return x + 10.0 ** (noise_level / 20.0) * shaped(slope, 18.0, rate)[:, : x.shape[1]]


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("slope", [-6.0, 0.0, 3.0])
def test_noise_in_a_pause_has_its_level_and_its_slope(rate, slope):
    found = run_need(NoiseFloor(20_000.0), with_pause(-68.0, slope, rate), rate, 65_536)
    assert found.level == pytest.approx(-68.0, abs=0.8)
    assert found.slope == pytest.approx(slope, abs=0.6)
    assert 5.5 <= found.start_s < found.end_s <= 12.5


def test_the_dither_of_16_bits_is_flat_and_has_the_level_of_its_definition():
    x = np.concatenate([music(4.0), np.zeros((2, 4 * RATE))], axis=1)
    rng = np.random.default_rng(7)
    x = np.round(x * 2.0**15 + rng.random(x.shape) - rng.random(x.shape)) / 2.0**15
    found = run_need(NoiseFloor(20_000.0), x, RATE, 65_536)
    # dither of two steps' triangle and the rounding: a quarter of a step squared, over 24 kHz
    assert found.level == pytest.approx(10.0 * np.log10(2.0**-30 / 4.0 * 20.0 / 24.0), abs=0.5)
    assert found.slope == pytest.approx(0.0, abs=0.5)


def test_music_without_a_quiet_second_has_a_bound_and_no_slope():
    need = NoiseFloor(20_000.0)
    numbers = need.publish(run_need(need, music(10.0), RATE, 65_536))
    assert numbers["noise.floor"].bound == "<"
    assert "noise.slope" not in numbers


@pytest.mark.parametrize("samples", [np.zeros((2, 4 * RATE)), np.zeros((2, 100)), np.full((2, 4 * RATE), 0.1)])
def test_silence_and_direct_current_have_no_noise_floor(samples):
    need = NoiseFloor(20_000.0)
    numbers = need.publish(run_need(need, samples, RATE, 65_536))
    assert "noise.slope" not in numbers
    assert all(np.isfinite(number.value) for number in numbers.values())
    assert not len(numbers) or numbers["noise.floor"].value < -60.0


def test_a_held_chord_is_no_noise_floor():
    t = np.arange(4 * RATE) / RATE
    chord = sum(np.sin(2 * np.pi * 98.0 * harmonic * t) / harmonic**2 for harmonic in range(1, 60))
    x = np.concatenate([music(4.0), 0.001 * np.stack([chord, chord]), music(4.0)], axis=1)
    need = NoiseFloor(20_000.0)
    numbers = need.publish(run_need(need, x, RATE, 65_536))
    assert numbers["noise.floor"].bound == "<"
    assert "noise.slope" not in numbers


def test_a_steady_tone_is_no_noise_floor():
    t = np.arange(8 * RATE) / RATE
    need = NoiseFloor(20_000.0)
    numbers = need.publish(run_need(need, np.stack([0.1 * np.sin(2 * np.pi * 1_000.0 * t)] * 2), RATE, 65_536))
    assert numbers["noise.floor"].bound == "<"
