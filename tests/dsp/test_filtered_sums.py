"""Energies of filtered signals and of the low band against the filters written out and plain sums."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from qc.dsp.filters.biquad import UNITY, butterworth_4_high, response
from qc.dsp.filters.kweighting import k_weighting
from qc.dsp.meters.filtered import FilteredSums, filtered_sums
from qc.dsp.meters.kweighted import KWeightedSums
from qc.dsp.meters.lowband import STRIDES_A_SECOND, LowBandSums, low_band, low_band_sums, stride_frames
from qc.dsp.meters.windows import part_frames
from support.signals import pushed

RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
ODD_RATES = (8000, 22_050, 44_056)
NOISE = np.random.default_rng(6).standard_normal((2, 12_000))
NOISE[1] += 0.5 * NOISE[0]


def filtered(sections, x):
    for section in sections:
        x = lfilter(section[:3], [1.0, *section[3:]], x, axis=1)
    return x


def plain(x, window):
    parts = [x[:, start : start + window] for start in range(0, x.shape[1], window)]
    return np.array([[left @ left, right @ right, left @ right] for left, right in parts]).reshape(-1, 3)


@pytest.mark.parametrize("rate", [*RATES, *ODD_RATES])
@pytest.mark.parametrize("frames", [1, 7, 2000, 12_000])
def test_k_weighted_sums(rate, frames):
    x, window = NOISE[:, :frames], part_frames(rate)
    sums, counts = pushed(KWeightedSums(rate, window), x)
    wanted = plain(filtered(k_weighting(rate), x), window)[:, :2].sum(axis=1, keepdims=True)
    np.testing.assert_allclose(sums, wanted, rtol=1e-9)
    assert counts.sum() == frames


@pytest.mark.parametrize("window", [1, 3, 7, 8, 9, 441])
def test_k_weighted_sums_of_any_window(window):
    sums, _ = pushed(KWeightedSums(44_100, window), NOISE[:, :2000])
    wanted = plain(filtered(k_weighting(44_100), NOISE[:, :2000]), window)[:, :2].sum(axis=1, keepdims=True)
    np.testing.assert_allclose(sums, wanted, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_sums_of_each_channel_behind_a_high_pass(kind):
    sections, x = butterworth_4_high(20.0, 96_000), NOISE.astype(kind)
    sums, counts = pushed(FilteredSums(sections, 960, 2, 0, kind), x, [100, 5000])
    wanted = plain(filtered(sections, x.astype(np.float64)), 960)[:, :2]
    np.testing.assert_allclose(sums, wanted, rtol=1e-9)
    assert counts.sum() == x.shape[1]


def test_a_first_sample_that_had_always_been_there_is_no_step():
    sections, x = butterworth_4_high(20.0, 96_000), NOISE + np.array([[0.5], [-0.25]])
    meter = FilteredSums(sections, 960, 2)
    meter.begin_with(*x[:, 0])
    sums, _ = pushed(meter, x)
    wanted = plain(filtered(sections, x - x[:, :1]), 960)[:, :2]
    np.testing.assert_allclose(sums, wanted, rtol=1e-9)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("subsonic", [0.0, 10.0, 30.0])
def test_low_band_sums(rate, subsonic):
    """White noise, the worst there is above the band; a second of it, and what its channels have in common."""
    x = np.random.default_rng(rate).standard_normal((2, rate))
    x[1] -= 0.7 * x[0]
    window = part_frames(rate)
    sums, counts = pushed(LowBandSums(rate, window, subsonic), x)
    wanted = plain(filtered(low_band(subsonic, rate), x), window)
    assert sums.shape == wanted.shape
    assert counts.sum() == rate
    got, exact = sums.sum(axis=0), wanted.sum(axis=0)
    np.testing.assert_allclose(got, exact, rtol=3e-4)
    np.testing.assert_allclose(got[2] / np.sqrt(got[0] * got[1]), exact[2] / np.sqrt(exact[0] * exact[1]), atol=1e-4)


@pytest.mark.parametrize("rate", [*RATES, *ODD_RATES])
def test_low_band_sums_of_what_lies_in_it(rate):
    """Tones: every part by itself, were it cut off in the middle of a stride."""
    t = np.arange(rate // 2 + 123) / rate
    x = np.vstack([np.sin(2.0 * np.pi * 60.0 * t), np.sin(2.0 * np.pi * 60.0 * t + 1.0)])
    window = part_frames(rate)
    sums, _ = pushed(LowBandSums(rate, window, 10.0), x)
    np.testing.assert_allclose(sums, plain(filtered(low_band(10.0, rate), x), window), rtol=0.03, atol=2e-4 * window)
    np.testing.assert_allclose(sums.sum(axis=0), plain(filtered(low_band(10.0, rate), x), len(t))[0], rtol=2e-4)


@pytest.mark.parametrize("rate", [44_100, 192_000])
def test_low_band_response(rate):
    frequency = np.array([10.0, 30.0, 100.0, 300.0, 600.0])
    got = np.abs(response(low_band(10.0, rate), frequency, rate))
    wanted = 1.0 / np.sqrt((1.0 + (10.0 / frequency) ** 4) * (1.0 + (frequency / 300.0) ** 8))
    np.testing.assert_allclose(20 * np.log10(got), 20 * np.log10(wanted), atol=0.05)
    np.testing.assert_array_equal(low_band(0.0, rate)[0], UNITY)


def test_strides_are_short_enough_at_every_rate():
    assert [stride_frames(rate) for rate in RATES] == [16, 16, 32, 32, 64, 64]
    for rate in RATES:
        assert STRIDES_A_SECOND <= rate / stride_frames(rate) < 2 * STRIDES_A_SECOND


@settings(max_examples=60, deadline=None)
@given(
    rate=st.sampled_from([8000, 44_100, 48_000, 176_400]),
    frames=st.integers(0, 12_000),
    sizes=st.lists(st.integers(0, 3000), max_size=12),
)
def test_any_blocks_give_the_same_digits(rate, frames, sizes):
    x = NOISE[:, :frames].copy()
    x[:, 4000:] = 0.0  # rings out
    for make in (lambda w: KWeightedSums(rate, w), lambda w: LowBandSums(rate, w, 10.0)):
        whole, parts = pushed(make(part_frames(rate)), x), pushed(make(part_frames(rate)), x, sizes)
        np.testing.assert_array_equal(whole[0], parts[0])
        np.testing.assert_array_equal(whole[1], parts[1])


def test_ringing_in_digital_silence_comes_to_rest():
    x = np.zeros((2, 48_000 * 20))
    x[:, :480] = NOISE[:, :480]
    for thing in (KWeightedSums(48_000, 480), LowBandSums(48_000, 480, 10.0)):
        sums = pushed(thing, x)[0]
        assert np.all(sums[-1] == 0.0)
        assert np.all(thing._state == 0.0)


def test_one_kernel_serves_read_only_and_writable_input():
    frozen = NOISE.copy()
    frozen.flags.writeable = False
    for make, compiled in (
        (lambda: KWeightedSums(48_000, 480), filtered_sums),
        (lambda: LowBandSums(48_000, 480, 10.0), low_band_sums),
    ):
        sums, kernels = pushed(make(), frozen)[0], len(compiled.signatures)
        np.testing.assert_array_equal(sums, pushed(make(), NOISE)[0])
        assert len(compiled.signatures) == kernels
