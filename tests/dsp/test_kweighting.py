"""K-weighting against the published curve at 48 kHz, and against the same curve at other rates."""

import numpy as np
import pytest

from qc.dsp.filters.biquad import response
from qc.dsp.filters.kweighting import HIGH_PASS_48K, SHELF_48K, _high_pass, _shelf, k_weighting

RATES = (44_100, 88_200, 96_000, 176_400, 192_000)
# frequency in Hz: gain in dB at 48 kHz, of the published coefficients
GAINS = {
    20: -13.275, 31.5: -7.790, 50: -3.934, 63: -2.664, 100: -1.134, 200: -0.265, 500: 0.043, 997: 0.691,
    1000: 0.698, 2000: 3.071, 5000: 4.013, 10_000: 4.042,
}  # fmt: skip


def gain(frequency, rate):
    return 20.0 * np.log10(np.abs(response(k_weighting(rate), np.asarray(frequency, dtype=float), rate)))


def test_published_gains_at_48k():
    np.testing.assert_allclose(gain(list(GAINS), 48_000), list(GAINS.values()), atol=0.002)


def test_published_coefficients_follow_from_the_prototype():
    np.testing.assert_allclose(_shelf(48_000), SHELF_48K, atol=2e-13)
    np.testing.assert_allclose(_high_pass(48_000), HIGH_PASS_48K, atol=2e-13)


@pytest.mark.parametrize("rate", RATES)
def test_other_rates_keep_the_curve_of_48k(rate):
    frequency = np.geomspace(10.0, 0.3 * min(rate, 48_000), 400)
    np.testing.assert_allclose(gain(frequency, rate), gain(frequency, 48_000), atol=0.01)


@pytest.mark.parametrize("rate", RATES)
def test_treble_gain_is_pinned(rate):
    np.testing.assert_allclose(gain(0.4999 * rate, rate), gain(0.4999 * 48_000, 48_000), atol=1e-4)
