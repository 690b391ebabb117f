"""Correlation against closed forms and plain numpy."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.groove.signal.energies import Parts
from qc.groove.signal.programme import Programme
from qc.model.cutting_chain import Chain, Signal
from qc.testing.drive import run_need
from qc_standard.stereo import LowBand, LowCorrelation, Stereo

RATE = 8000
NOISE = 0.1 * np.random.default_rng(8).standard_normal((2, RATE * 12))


def tone(seconds, frequency=1000.0, phase=0.0):
    return np.sin(2.0 * np.pi * frequency * np.arange(round(seconds * RATE)) / RATE + phase)


def stereo(x):
    return run_need(Stereo.of(Chain()), x, RATE)


def low(x):
    return run_need(LowCorrelation.of(Chain()), x, RATE).correlation


def ratio(x):
    return (x[0] @ x[1]) / np.sqrt((x[0] @ x[0]) * (x[1] @ x[1]))


@pytest.mark.parametrize("phase", [0.0, 0.5, 2.0, np.pi])
def test_tones_have_the_correlation_of_their_phase(phase):
    x = 0.1 * np.vstack([tone(2.0), tone(2.0, phase=phase)])
    assert stereo(x).correlation_min.value == pytest.approx(np.cos(phase), abs=1e-6)


def test_the_worst_window_is_found_with_its_place():
    x = 0.1 * np.vstack([tone(10.0), tone(10.0)])
    x[1, 4 * RATE : round(4.4 * RATE)] *= -1.0
    worst = stereo(x).correlation_min
    assert worst.value == pytest.approx(-1.0)
    assert (worst.start_s, worst.end_s) == pytest.approx((4.0, 4.4))


def test_correlation_of_noise_agrees_with_numpy():
    x = NOISE.copy()
    x[1] += 0.5 * x[0]
    values = [ratio(x[:, k : k + 3200]) for k in range(0, x.shape[1] - 3199, 800)]
    worst = stereo(x).correlation_min
    assert worst.value == pytest.approx(min(values), abs=1e-12)
    assert worst.start_s == pytest.approx(int(np.argmin(values)) * 0.1)


def test_only_windows_with_programme_count():
    x = 0.1 * np.vstack([tone(4.0), tone(4.0)])
    x[:, RATE : 3 * RATE] *= 5e-3  # -69 dBFS rms, out of phase
    x[1, RATE : 3 * RATE] *= -1.0
    assert stereo(x).correlation_min.value > 0.9
    x[:, RATE : 3 * RATE] *= 20.0  # the same stretch as programme
    assert stereo(x).correlation_min.value == pytest.approx(-1.0)


@pytest.mark.parametrize("level", [0.0, 2e-5])
def test_the_correlation_with_a_silent_channel_is_0(level):
    x = np.vstack([0.1 * tone(12.0, 100.0), level * tone(12.0, 150.0)])
    assert Stereo(20_000.0).publish(stereo(x))["stereo.correlation_min"].value == 0.0
    analysis = LowCorrelation.of(Chain())
    assert analysis.publish(run_need(analysis, x, RATE))["stereo.low_correlation"].value == 0.0


def test_a_short_file_is_one_window():
    x = 0.1 * np.vstack([tone(0.123), tone(0.123, phase=1.0)])
    worst = stereo(x).correlation_min
    assert worst.value == pytest.approx(ratio(x))
    assert (worst.start_s, worst.end_s) == (0.0, x.shape[1] / RATE)
    assert stereo(x[:, 301:302]).correlation_min is not None
    assert stereo(np.zeros((2, 1))).correlation_min is None


def test_low_correlation_depends_on_the_bass_only():
    bass, treble = 0.1 * tone(25.0, 80.0), 0.3 * tone(25.0, 2000.0)
    x = np.vstack([bass + treble, bass - treble])
    assert low(x).value > 0.99
    x[1, 12 * RATE :] -= 2.0 * bass[12 * RATE :]
    worst = low(x)
    assert worst.value < -0.99
    assert worst.end_s - worst.start_s == pytest.approx(10.0)
    assert worst.start_s >= 12.0
    analysis = LowCorrelation.of(Chain())
    quantity = analysis.publish(run_need(analysis, x, RATE))["stereo.low_correlation"]
    assert (quantity.value, quantity.unit, quantity.at.start_s) == (worst.value, "1", worst.start_s)


def test_a_short_side_has_a_low_correlation():
    x = 0.1 * np.vstack([tone(5.004, 80.0), -tone(5.004, 80.0)])
    worst = low(x)
    assert worst.value == pytest.approx(-1.0)
    assert (worst.start_s, worst.end_s) == pytest.approx((0.0, 5.004))


def test_the_chain_sets_the_subsonic_corner():
    chain = replace(Chain(), signal=Signal(subsonic=20.0))
    assert LowCorrelation.of(chain) == LowCorrelation(20.0, 20_000.0)
    assert LowCorrelation(20.0, 20_000.0).needs() == (LowBand(20.0), Parts(), Programme(20_000.0))
    assert LowBand.of(chain) == LowBand(20.0)
    x = 0.1 * np.vstack([tone(1.0, 80.0), tone(1.0, 80.0)])
    assert run_need(LowCorrelation(0.0, 20_000.0), x, RATE).correlation.value == pytest.approx(1.0)


@settings(max_examples=25, deadline=None)
@given(frames=st.integers(1, RATE * 12), sizes=st.lists(st.integers(0, 30_000), max_size=8))
def test_any_blocks_give_the_same_digits(frames, sizes):
    x = NOISE[:, :frames].copy()
    x[:, RATE * 4 : RATE * 8] = 0.0
    for analysis in (Stereo(20_000.0), LowCorrelation(10.0, 20_000.0)):
        assert run_need(analysis, x, RATE, frames) == run_need(analysis, x, RATE, sizes)
