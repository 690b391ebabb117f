"""True peak against the sum written out, closed forms, and itself in any blocks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.dsp.meters.peaks import SEGMENT, PeakSweep
from qc.dsp.meters.truepeak import BOUND, HALF, between
from support.signals import pushed

NOISE = np.random.default_rng(9).standard_normal((2, 2000))


def heard(x, sizes=()):
    return pushed(PeakSweep(), x, sizes)[0]


def plain(x):
    """All four phases of the whole wave, one channel: greatest magnitude and its place in frames."""
    padded = np.concatenate([np.zeros(2 * HALF), x, np.zeros(2 * HALF)])
    wave = np.zeros((len(padded) - 2 * HALF, 4))
    wave[:, 0] = padded[HALF - 1 : HALF - 1 + len(wave)]
    for phase in (1, 2, 3):
        wave[:, phase] = np.correlate(padded, between(phase / 4.0), "valid")[: len(wave)]
    best = int(np.argmax(np.abs(wave)))
    place = best / 4.0 - (HALF + 1)
    return np.abs(wave).max(), min(max(0.0, place), max(0, len(x) - 1))


def test_pass_band():
    frequency = np.linspace(0.0, 0.43, 500)
    for fraction in (0.25, 0.5, 0.75):
        distance = np.arange(2 * HALF) - (HALF - 1) - fraction
        gain = np.exp(2j * np.pi * np.outer(frequency, distance)) @ between(fraction)
        assert np.max(np.abs(20.0 * np.log10(np.abs(gain)))) < 0.01
        assert np.max(np.abs(np.angle(gain))) < 0.002


def test_bound_is_the_greatest_absolute_sum():
    sums = [np.abs(between(fraction)).sum() for fraction in (0.25, 0.5, 0.75)]
    assert max(sums) <= BOUND < max(sums) * (1.0 + 1e-6)


@pytest.mark.parametrize("frames", [1, 2, SEGMENT - 1, SEGMENT, SEGMENT + 1, 1000, 2000])
@pytest.mark.parametrize("seed", range(5))
def test_against_numpy(frames, seed):
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((2, frames)) * rng.random(frames) ** 2  # uneven, so that segments are passed over
    for channel, peak in zip(x, heard(x), strict=True):
        true, place = plain(channel)
        assert peak.true == pytest.approx(true, rel=1e-12)
        assert peak.true_frame == place
        assert peak.sample == np.abs(channel).max()
        assert peak.sample_frame == np.argmax(np.abs(channel))


@settings(max_examples=100, deadline=None)
@given(frames=st.integers(0, 2000), sizes=st.lists(st.integers(0, 900), max_size=12), loud=st.integers(0, 1999))
def test_any_blocks_give_the_same_digits(frames, sizes, loud):
    x = NOISE[:, :frames].copy()
    x[:, loud : loud + 40] *= 3.0
    assert heard(x) == heard(x, sizes)


def test_blocks_of_one_frame():
    assert heard(NOISE) == heard(NOISE, [1] * 2000)


@pytest.mark.parametrize("at", [5, SEGMENT - 1, SEGMENT, 3 * SEGMENT - 1, 999])
def test_tone_at_a_quarter_of_the_rate(at):
    n = np.arange(1000)
    x = np.where(np.abs(n - at) < 60, np.sin(0.5 * np.pi * n + 0.25 * np.pi), 0.0)
    x *= np.hanning(121)[np.clip(n - at + 60, 0, 120)]
    peak = heard(np.vstack([x, -x]))
    assert peak[0].true == pytest.approx(plain(x)[0], rel=1e-12)
    assert peak[0].true == peak[1].true
    if 60 < at < 900:
        assert peak[0].true == pytest.approx(1.0, abs=0.01)
        assert abs(peak[0].true_frame - at) <= 1.0


def test_silence_and_nothing():
    for x in (np.zeros((2, 700)), np.zeros((2, 0))):
        for peak in heard(x):
            assert (peak.sample, peak.sample_frame, peak.true, peak.true_frame) == (0.0, 0, 0.0, 0.0)


def test_place_lies_within_the_file():
    x = np.zeros((2, 300))
    x[:, -8:] = np.resize([1.0, -1.0], 8)  # the wave is greatest between samples
    for peak in heard(x):
        assert 0.0 <= peak.true_frame <= 299.0
