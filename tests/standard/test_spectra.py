"""The spectra of a side, against numpy's and scipy's own transforms of the whole array and closed forms."""

import numpy as np
import pytest
from scipy import signal

from qc.testing.drive import run_need
from qc_standard.spectrum.spectra import MOST_SEGMENTS, OCTAVES_HZ, SideSpectra, Spectra, frame_size


def spectra(samples, rate, blocks=8192):
    return Spectra(run_need(SideSpectra(), samples, rate, blocks))


def noise(rate, seconds, seed=1):
    return 0.1 * np.random.default_rng(seed).standard_normal((2, int(rate * seconds)))


def by_scipy(samples, rate, size):
    """Frequencies and mean power a bin, (2, bins), of the frames at every sixth frame length."""
    starts = range(0, samples.shape[1] - size + 1, 6 * size)
    frames = [signal.periodogram(samples[:, s : s + size], rate, "hann", detrend=False) for s in starts]
    return frames[0][0], np.mean([power for _, power in frames], axis=0) * rate / size


@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
def test_the_mean_spectrum_is_that_of_scipy(rate):
    samples = noise(rate, 6.0)
    found = spectra(samples, rate)
    size = frame_size(rate)
    frequencies, density = by_scipy(samples, rate, size)
    assert np.allclose(found.frequencies, frequencies[:4097])
    assert np.allclose(found.mean, density[:, :4097], rtol=2e-4)
    assert found.mean_upper.sum() == pytest.approx(density[:, 4097:].sum(), rel=1e-5, abs=1e-12)


def test_the_cross_spectrum_is_that_of_numpy_and_shows_a_delay():
    rate, delay = 96_000, 2.0
    base = noise(rate, 4.0)[0]
    samples = np.stack([base[:-2], base[2:]])  # the left channel is two samples late
    found = spectra(samples, rate)
    size = frame_size(rate)
    starts = range(0, samples.shape[1] - size + 1, 6 * size)
    window = signal.get_window("hann", size)
    frames = [np.fft.rfft(samples[:, s : s + size] * window) for s in starts]
    cross = np.mean([left * right.conj() for left, right in frames], axis=0) * 2.0 / (size * np.sum(window**2))
    total = np.tensordot(found.counts, found.cross, 1) / found.counts.sum()
    assert np.allclose(total, cross[:4097], rtol=1e-3, atol=1e-9)  # float32 sums
    slope = np.polyfit(found.frequencies[50:], np.unwrap(np.angle(total[50:])), 1)[0]
    assert -slope / (2 * np.pi) * rate == pytest.approx(delay, abs=0.01)


@pytest.mark.parametrize("rate", [8_000, 44_100, 96_000])
def test_the_octaves_of_a_spectrum_are_sums_over_scipys_bins(rate):
    samples = noise(rate, 3.0)
    samples[1] += samples[0]
    found, size = spectra(samples, rate), frame_size(rate)
    assert len(found.octaves) == len(found.levels)
    window = signal.get_window("hann", size)
    for number, octaves in enumerate(found.octaves):
        start = number * 6 * size
        left, right = np.fft.rfft(samples[:, start : start + size] * window) * np.sqrt(2.0 / (size * np.sum(window**2)))
        at = np.fft.rfftfreq(size, 1.0 / rate)
        for octave, middle in enumerate(OCTAVES_HZ):
            band = (at >= middle / np.sqrt(2.0)) & (at < middle * np.sqrt(2.0)) & (np.arange(len(at)) < 4096)
            products = np.abs(left) ** 2, np.abs(right) ** 2, (left * right.conj()).real
            assert np.allclose(octaves[:, octave], [product[band].sum() for product in products], rtol=1e-3, atol=1e-12)


def test_a_sine_has_half_its_squared_amplitude_over_four_bins():
    rate = 48_000
    t = np.arange(4 * rate) / rate
    found = spectra(np.stack([0.5 * np.sin(2 * np.pi * 15_625.0 * t), 0.0 * t]), rate)
    near = found.bins(15_625.0 - 12.0, 15_625.0 + 12.0)
    assert found.mean[0, near].sum() == pytest.approx(0.125, rel=1e-3)
    assert found.mean[1].max() < 1e-13


@pytest.mark.parametrize("blocks", [1_000, 7_777, [3, 100_001, 65_536]])
def test_the_size_of_a_block_changes_nothing(blocks):
    samples = noise(96_000, 5.0)
    found, again = (run_need(SideSpectra(), samples, 96_000, size) for size in (480_000, blocks))
    for name in ("counts", "power", "cross", "upper", "levels", "octaves", "quiet_at", "quiet"):
        assert np.array_equal(getattr(found, name), getattr(again, name)), name


def test_a_long_side_has_no_more_segments_and_the_same_mean():
    rate = 8_000  # one spectrum in 6 s: as many as a side of 9 minutes at 96 kHz has
    samples = noise(rate, 3_200.0)
    found = spectra(samples, rate, 1 << 20)
    assert len(found.levels) > 4 * MOST_SEGMENTS
    assert MOST_SEGMENTS // 2 <= len(found.counts) <= MOST_SEGMENTS
    assert found.counts.sum() == len(found.levels)
    assert np.allclose(found.mean, by_scipy(samples, rate, frame_size(rate))[1], rtol=1e-3)
    assert found.ends_s[-1] <= 3_200.0


def test_the_quietest_spectra_are_kept_and_digital_silence_is_not_one():
    rate = 48_000
    samples = noise(rate, 60.0)
    samples[:, 20 * rate : 26 * rate] *= 0.001
    samples[:, 40 * rate : 50 * rate] = 0.0
    found = spectra(samples, rate)
    at = found.quiet_at * found.hop / rate
    assert len(at) == 16
    assert set(np.flatnonzero((at > 20.0) & (at < 25.8))) == set(range(6))
    assert not np.any((at > 40.0) & (at < 49.0))
    assert found.levels[found.quiet_at[0]].max() == pytest.approx(found.quiet[0, :, 1:].sum(axis=1).max(), rel=1e-5)


@pytest.mark.parametrize("frames", [0, 1, 8_191])
def test_a_side_shorter_than_a_spectrum_has_none(frames):
    found = spectra(np.zeros((2, frames)), 48_000)
    assert found.power.shape == (0, 2, 4097)
    assert found.cross.shape == (0, 4097)
    assert found.mean.shape == (2, 4097)
    assert not found.mean.any()
