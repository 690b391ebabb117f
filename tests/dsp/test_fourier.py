"""The spectra of two channels against numpy's transform of each, in float64."""

import numpy as np
import pytest

from qc.dsp.meters.fourier import TwoSpectra

SIZES = [64, 128, 256, 8192, 16_384, 32_768]


@pytest.mark.parametrize("size", SIZES)
def test_both_channels_have_the_spectrum_that_numpy_computes(size):
    frame = np.random.default_rng(5).standard_normal((2, size)).astype(np.float32)
    wanted = np.fft.rfft(frame.astype(np.float64), axis=1)
    np.testing.assert_allclose(TwoSpectra(size).of(frame), wanted, rtol=1e-6, atol=1e-12 * np.abs(wanted).max())


@pytest.mark.parametrize("size", SIZES)
def test_a_loud_line_reaches_the_other_channel_by_rounding_only(size):
    """The error of a fast transform of n values is at most eps log2(n) of its size (Higham 2002, theorem 24.2)."""
    n, line = np.arange(size), size // 8 + 3
    loud, soft = np.cos(2 * np.pi * line * n / size), np.zeros(size)
    soft[5] = 1e-9
    left, right = TwoSpectra(size).of(np.stack([loud, soft]).astype(np.float32))
    assert abs(left[line]) == pytest.approx(size / 2, rel=1e-6)
    rounding = np.finfo(np.float64).eps * np.log2(size) * size / 2
    np.testing.assert_allclose(np.abs(right), 1e-9, rtol=1e-6, atol=rounding)


def test_a_channel_of_zeros_has_a_spectrum_of_zeros():
    frame = np.random.default_rng(6).standard_normal((2, 256)).astype(np.float32)
    frame[1] = 0.0
    meter = TwoSpectra(256)
    assert not meter.of(frame)[1].any()
    assert not meter.of(frame[::-1].copy())[0].any()


@pytest.mark.parametrize("size", [0, 32, 100, 8193])
def test_other_sizes_are_refused(size):
    with pytest.raises(ValueError, match="power of two"):
        TwoSpectra(size)
