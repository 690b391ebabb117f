"""Sections against analogue closed forms and scipy's filter as a reference library."""

import numpy as np
import pytest
from scipy.signal import sosfilt

from qc.dsp.filters import biquad


def butterworth(order, corner, frequency, kind):
    """Squared magnitude of an analogue Butterworth filter, closed form."""
    ratio = frequency / corner if kind == "low" else corner / frequency
    return 1.0 / (1.0 + ratio ** (2 * order))


@pytest.mark.parametrize("rate", [44_100.0, 96_000.0, 192_000.0])
def test_filters_have_the_analogue_gain(rate):
    f = np.array([50.0, 150.0, 300.0, 500.0, 900.0])
    low = np.abs(biquad.response(biquad.butterworth_4_low(300.0, rate), f, rate)) ** 2
    np.testing.assert_allclose(low, butterworth(4, 300.0, f, "low"), rtol=1e-3)
    f = np.array([5.0, 10.0, 20.0, 100.0])
    high = np.abs(biquad.response(biquad.butterworth_2_high(10.0, rate), f, rate)) ** 2
    np.testing.assert_allclose(high, butterworth(2, 10.0, f, "high"), rtol=1e-3)


@pytest.mark.parametrize("rate", [88_200.0, 96_000.0])
def test_sibilance_band_has_the_analogue_gain(rate):
    f = np.array([4_000.0, 5_000.0, 7_000.0, 10_000.0, 12_000.0, 16_000.0, 20_000.0])
    band = np.vstack([biquad.butterworth_4_high(5_000.0, rate), biquad.butterworth_4_low(12_000.0, rate)])
    gain = 20.0 * np.log10(np.abs(biquad.response(band, f, rate)))
    analogue = 10.0 * np.log10(butterworth(4, 5_000.0, f, "high") * butterworth(4, 12_000.0, f, "low"))
    assert np.abs(gain - analogue).max() < 0.1


@pytest.mark.parametrize("rate", [88_200.0, 96_000.0])
def test_cutter_pole_is_ef_6(rate):
    """EQ-6: 3.18 us is -0.20 dB at 10.9 kHz and -0.64 dB at 20 kHz."""
    gain = 20.0 * np.log10(np.abs(biquad.response(biquad.pole(3.18e-6, rate), np.array([10_900.0, 20_000.0]), rate)))
    np.testing.assert_allclose(gain, [-0.201, -0.643], atol=0.02)


def test_kernel_is_scipys_filter_in_any_pieces():
    rng = np.random.default_rng(2)
    x = rng.standard_normal((2, 4000))
    sections = np.vstack([biquad.butterworth_4_high(5_000.0, 96e3), biquad.butterworth_4_low(300.0, 96e3)])
    state = biquad.fresh(sections, 2)
    pieces = [np.ascontiguousarray(part) for part in np.split(x, [1, 17, 2500], axis=1)]
    parts = [biquad.run(part, sections, state, np.empty_like(part)) for part in pieces]
    sos = np.insert(sections, 3, 1.0, axis=1)
    np.testing.assert_allclose(np.concatenate(parts, axis=1), sosfilt(sos, x), rtol=0, atol=1e-12)


def test_an_odd_number_of_sections_is_refused():
    sections = biquad.low_pass(100.0, 0.7, 48_000)
    x = np.zeros((2, 10))
    with pytest.raises(ValueError, match="two at a time"):
        biquad.run(x, sections, biquad.fresh(sections, 2), x)
