"""The time between the channels: delays made by turning phases, by whole samples and by a head that stands askew.

A-9, A-10 in ../shared/facts/standards.md: the loss of a head askew, x = pi w tan(angle) f / v, 20 log10(sin(x) / x).
"""

import numpy as np
import pytest
from scipy import signal

from qc.model.cutting_chain import Chain
from qc.testing import faults, signals
from qc.testing.drive import run_need
from qc_standard.azimuth.delay import ChannelDelay, Vote, agreed


def measured(x, rate, blocks=1 << 15):
    return run_need(ChannelDelay.of(Chain()), np.ascontiguousarray(x), rate, blocks).delay_s


def music(rate, seconds=16.0, apart=0.2):
    """Noise with a middle and some of each side's own, (2, frames)."""
    return signals.pink_noise(seconds, rate, 0.1) + signals.pink_noise(
        seconds, rate, apart * 0.1, channels="apart", seed=3
    )


@pytest.mark.parametrize("rate", [44_100, 96_000])
@pytest.mark.parametrize("samples", [0.0, 0.25, -0.6, 1.0, 3.3])
def test_a_delay_is_measured_to_a_twentieth_of_a_sample(rate, samples):
    x = faults.late(music(rate), rate, seconds=samples / rate)
    assert rate * measured(x, rate) == pytest.approx(samples, abs=0.05)


def test_a_channel_that_is_moved_by_samples_is_late_by_them():
    x = music(48_000)
    x[0] = np.roll(x[0], 5)
    assert 48_000 * measured(x, 48_000) == pytest.approx(-5.0, abs=0.05)


def test_a_level_difference_is_no_delay():
    x = music(48_000) * np.array([[1.0], [0.3]])
    assert measured(x, 48_000) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    "x",
    [
        signals.pink_noise(16.0, 48_000, 0.1, channels="apart"),
        signals.pink_noise(4.0, 48_000, 0.1),
        np.zeros((2, 48_000 * 12)),
        np.zeros((2, 10)),
    ],
)
def test_wide_short_and_silent_sides_have_no_time(x):
    assert measured(x, 48_000) is None


ARC_MINUTE = np.pi / 180.0 / 60.0
STRIPS = 64


def played(x, rate, width_m, spacing_m, angle, speed_m_s):
    """Play two tracks of a tape by heads that stand askew: each is the mean of strips, one later than the other."""
    hz = np.fft.rfftfreq(x.shape[1], 1.0 / rate)
    across = ((np.arange(STRIPS) + 0.5) / STRIPS - 0.5) * width_m
    heads = np.zeros((2, len(hz)), dtype=np.complex128)
    for channel, middle in enumerate((-0.5 * spacing_m, 0.5 * spacing_m)):
        for strip in across + middle:
            heads[channel] += np.exp(-2j * np.pi * hz * strip * np.tan(angle) / speed_m_s) / STRIPS
    return np.fft.irfft(np.fft.rfft(x) * heads, x.shape[1])


@pytest.mark.parametrize(("width_mm", "angle", "cm_s", "hz", "loss_db"), [
    (6.3, 300e-6, 38.1, 10_000.0, -0.035),
    (6.3, 300e-6, 19.05, 10_000.0, -0.141),
    (6.3, 10.0 * ARC_MINUTE, 38.1, 15_000.0, -9.41),
    (2.0, 10.0 * ARC_MINUTE, 38.1, 15_000.0, -0.763),
    (2.775, 10.0 * ARC_MINUTE, 38.1, 15_000.0, -1.494),
])  # fmt: skip
def test_the_tape_of_these_tests_loses_the_treble_that_is_published(width_mm, angle, cm_s, hz, loss_db):
    rate = 48_000
    tone = signals.sine(hz, 1.0, rate, 0.5)
    heard = played(tone, rate, 1e-3 * width_mm, 0.0, angle, 0.01 * cm_s)
    loss = 20.0 * np.log10(np.std(heard[0]) / np.std(tone[0]))
    assert loss == pytest.approx(loss_db, abs=max(0.001, 0.001 * abs(loss_db)))


@pytest.mark.parametrize(("width_mm", "spacing_mm", "minutes", "cm_s"), [
    (2.0, 4.2, 10.0, 38.1), (2.775, 3.525, 10.0, 38.1), (2.775, 3.525, -5.0, 19.05), (2.0, 4.2, 1.0, 38.1),
])  # fmt: skip
def test_the_delay_of_a_head_askew_is_that_of_its_geometry(width_mm, spacing_mm, minutes, cm_s):
    """The middles of both tracks lie the spacing apart along the head, and that much later: spacing tan(angle) / v."""
    rate, angle = 48_000, minutes * ARC_MINUTE
    x = played(music(rate, apart=1.0), rate, 1e-3 * width_mm, 1e-3 * spacing_mm, angle, 0.01 * cm_s)
    expected = 1e-3 * spacing_mm * np.tan(angle) / (0.01 * cm_s)
    assert rate * measured(x, rate) == pytest.approx(rate * expected, abs=0.05)


@pytest.mark.parametrize("apart", [0.5, 1.0, 1.4])
def test_a_middle_below_the_sound_of_both_sides_is_enough(apart):
    """With as much of each side's own the coherency is 0.5, with twice the energy 0.3."""
    rate = 48_000
    x = faults.late(music(rate, apart=apart), rate, seconds=0.4 / rate)
    assert rate * measured(x, rate) == pytest.approx(0.4, abs=0.05)


def test_delays_that_differ_from_sound_to_sound_are_none():
    """A different delay every two seconds, as of instruments between microphones that stand apart."""
    rate = 48_000
    late = [-300.0, 120.0, 40.0, -80.0, 250.0, -190.0, 350.0, 10.0]
    sounds = [faults.late(music(rate, 2.0), rate, seconds=1e-6 * each) for each in late]
    assert measured(np.concatenate(sounds, axis=1), rate) is None


@pytest.mark.parametrize(("votes", "expected"), [
    pytest.param([(2.0, 0.9), (4.0, 0.9), (5.0, 0.9)], (4.0, 1.0), id="agree"),
    pytest.param([(-20.0, 0.9), (4.0, 0.9), (30.0, 0.9)], None, id="scattered"),
    pytest.param([(4.0, 0.3), (4.0, 0.3), (4.0, 0.3)], None, id="no straight lines"),
    pytest.param([(400.0, 0.1), (-300.0, 0.1), (4.0, 0.9)], (4.0, 0.0), id="one with a middle leads"),
    pytest.param([(0.0, 0.0), (0.0, 0.0)], None, id="silent"),
])  # fmt: skip
def test_windows_agree_on_their_median(votes, expected):
    found = agreed([Vote(1e-6 * late, straight, straight**2) for late, straight in votes])
    assert found == (expected if expected is None else pytest.approx([1e-6 * each for each in expected], abs=1e-12))


def test_echoes_of_one_side_are_no_delay():
    """Reverberation that differs between the channels leaves the direct sound in time."""
    rng, rate = np.random.default_rng(2), 48_000
    direct = signals.pink_noise(16.0, rate, 0.1)
    tail = np.exp(-np.arange(rate // 4) / (0.05 * rate)) * 0.01
    room = [signal.fftconvolve(one, tail * rng.standard_normal(len(tail)))[: 16 * rate] for one in direct]
    found = measured(direct + np.vstack(room), rate)
    assert found is None or abs(found) < 4e-6
