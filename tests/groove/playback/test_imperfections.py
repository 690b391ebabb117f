"""Imperfections of playback against closed forms, and that none is there unless it is asked for."""

import math

import numpy as np
import pytest

from qc.groove.playback.imperfections import Imperfections, read_at, surface_noise
from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip

RATE = 96_000
SHARP, POINT = math.radians(89.999), Tip.spherical(0.0)


def sine(hz, velocity, left, right, seconds=0.1):
    t = np.arange(round(seconds * RATE)) / RATE
    d = velocity / (2.0 * math.pi * hz) * np.sin(2.0 * math.pi * hz * t)
    return CutPassage(np.vstack([left * d, right * d]), RATE, 1.0)


def setup(speed=0.3, **more):
    return PlaybackSetup(0.0, speed, POINT, SHARP, imperfections=Imperfections(**more))


def amplitude(x, hz):
    """Complex amplitude of a frequency in the middle of x."""
    n = len(x) // 2
    at = np.arange(n // 2, n // 2 + n)
    return 2.0 / n * (x[n // 2 : n // 2 + n] @ np.exp(-2.0j * np.pi * hz * at / RATE))


def test_a_reading_between_samples_is_that_of_the_wave():
    hz, t = np.array([[1_000.0], [25_000.0]]), np.arange(2_000) / RATE
    offset = np.linspace(-3.0, 7.5, 2_000)
    found = read_at(np.sin(2.0 * np.pi * hz * t), offset)
    expected = np.sin(2.0 * np.pi * hz * (t + offset / RATE))
    assert found[:, 100:-100] == pytest.approx(expected[:, 100:-100], abs=1e-4)


@pytest.mark.parametrize("degrees", [-5.0, 3.0, 5.0])
def test_a_vertical_tracking_error_gives_a_vertical_cut_the_second_harmonic_of_its_form(degrees):
    """P-3: v / V tan(error), of velocity; a lateral cut has none."""
    hz, velocity, speed = 1_000.0, 0.05, 0.3
    path = sine(hz, velocity, math.sqrt(0.5), -math.sqrt(0.5)).played(
        setup(speed, vertical_error=math.radians(degrees))
    )
    replay = [
        abs((1 + 318e-6 * s) / ((1 + 3180e-6 * s) * (1 + 75e-6 * s))) for s in (2j * np.pi * hz * k for k in (1, 2))
    ]
    ratio = abs(amplitude(path[0], 2.0 * hz)) / abs(amplitude(path[0], hz)) * replay[0] / replay[1]
    assert ratio == pytest.approx(abs(math.tan(math.radians(degrees))) * velocity / speed, rel=0.01)
    lateral = sine(hz, velocity, math.sqrt(0.5), math.sqrt(0.5)).played(
        setup(speed, vertical_error=math.radians(degrees))
    )
    assert abs(amplitude(lateral[0], 2.0 * hz)) < 1e-6 * abs(amplitude(lateral[0], hz))


@pytest.mark.parametrize(("millimetres", "percent"), [(292.1, 0.137), (120.65, 0.332)])
def test_an_eccentric_hole_gives_the_wow_of_its_table(millimetres, percent):
    """P-7: 0.2 mm off, the greatest departure of the frequency from its own, at 33 1/3."""
    hz, rpm = 3_150.0, 100.0 / 3.0
    speed = math.pi * millimetres * 1e-3 * rpm / 60.0
    played = sine(hz, 0.001, 0.0, 1.0, 1.8).played(setup(speed, eccentricity=0.2e-3, rpm=rpm))[1]
    spectrum = np.fft.fft(played)
    spectrum[len(spectrum) // 2 :] = 0.0
    phase = np.unwrap(np.angle(np.fft.ifft(spectrum)))[RATE // 20 : -RATE // 20]
    frequency = np.diff(phase[:: RATE // 100]) * 100.0 / (2.0 * np.pi)
    assert 100.0 * np.abs(frequency / hz - 1.0).max() == pytest.approx(percent, rel=0.01)


def test_surface_noise_has_the_level_asked_for_and_the_slope_of_the_replay_curve():
    """P-15: dB re 5 cm/s peak lateral, in each channel; the curve falls by 13.7 dB from 1 to 10 kHz."""
    silent = CutPassage(np.zeros((2, 10 * RATE)), RATE, 0.28)
    played = silent.played(setup(noise=-55.0))
    reference = math.sqrt(0.5) * 0.05 / 0.28 / math.sqrt(2.0)
    assert 20.0 * np.log10(np.sqrt(np.square(played).mean(axis=1)) / reference) == pytest.approx([-55.0] * 2, abs=0.3)
    power, hz = np.square(np.abs(np.fft.rfft(played[0]))), np.fft.rfftfreq(played.shape[1], 1.0 / RATE)
    around = [power[(hz > 0.9 * at) & (hz < 1.1 * at)].mean() for at in (1_000.0, 10_000.0)]
    assert 10.0 * math.log10(around[0] / around[1]) == pytest.approx(13.73, abs=0.3)
    assert np.array_equal(played, silent.played(setup(noise=-55.0), workers=2))
    assert not np.array_equal(surface_noise(1_000, RATE, 0.0, 1), surface_noise(1_000, RATE, 0.0, 2))


@pytest.mark.parametrize("hz", [1_000.0, 10_000.0])
@pytest.mark.parametrize("speed", [0.2, 0.5])
def test_a_facet_takes_the_loss_and_the_turn_of_phase_of_a_mean_over_its_length(hz, speed):
    """C-5 in the form of P-5: sinc(f L / V), ahead by half the facet."""
    facet = 5e-6
    passage = sine(hz, 0.01, 0.0, 1.0)
    ratio = amplitude(passage.played(setup(speed, facet=facet))[1], hz) / amplitude(passage.master[1], hz)
    assert abs(ratio) == pytest.approx(np.sinc(hz * facet / speed), rel=1e-3)
    assert np.angle(ratio) == pytest.approx(math.pi * hz * facet / speed, rel=0.005)


def test_none_is_there_unless_it_is_asked_for():
    passage = sine(2_000.0, 0.05, 0.5, 0.5)
    plain = passage.played(PlaybackSetup(0.0, 0.3, Tip.spherical(8e-6)))
    assert np.array_equal(
        plain, passage.played(PlaybackSetup(0.0, 0.3, Tip.spherical(8e-6), imperfections=Imperfections()))
    )
