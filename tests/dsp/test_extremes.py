"""Derivatives and summits against sines, whose derivatives and peaks are known in closed form."""

import numpy as np
import pytest

from qc.dsp.meters import extremes, search


def lawson(basis, want, weight, sweeps=1500):
    """Weighted least squares pushed towards equal ripple."""
    u = np.ones(len(want))
    for _ in range(sweeps):
        root = weight * np.sqrt(u)
        taps = np.linalg.lstsq(basis * root[:, None], want * root, rcond=None)[0]
        u = u * np.abs((basis @ taps - want) * weight) ** 0.7
        u = u / u.mean() + 1e-12
    return taps


def test_taps_are_the_best_in_relative_error():
    """The constants are derived again: minimax in relative error from 0 to 20 kHz at 88.2 kHz."""
    w = np.concatenate([np.geomspace(1e-3, 0.1, 60), np.linspace(0.1, 2.0 * np.pi * 20.0 / 88.2, 500)[1:]])
    k, rest = np.arange(1, 6), np.arange(2, 6)
    between = 2.0 * np.cos(np.outer(w, rest - 0.5)) - 2.0 * np.cos(w / 2.0)[:, None]
    derived = {
        "FIRST": lawson(2.0 * np.sin(np.outer(w, k)), w, 1.0 / w),
        "FIRST_HALF": lawson(2.0 * np.sin(np.outer(w, k - 0.5)), w, 1.0 / w),
        "SECOND": lawson(2.0 * np.cos(np.outer(w, k)) - 2.0, -(w**2), 1.0 / w**2),
    }
    second = lawson(between, -(w**2), 1.0 / w**2)
    derived["SECOND_HALF"] = np.concatenate([[-second.sum()], second])
    middle = lawson(between, 1.0 - np.cos(w / 2.0), np.ones_like(w))
    derived["BETWEEN"] = np.concatenate([[0.5 - middle.sum()], middle])
    for name, taps in derived.items():
        np.testing.assert_allclose(getattr(extremes, name), taps, atol=2e-5, err_msg=name)
    assert abs(sum(extremes.SECOND_HALF)) < 1e-9
    assert abs(sum(extremes.BETWEEN) - 0.5) < 1e-9


@pytest.mark.parametrize("hz", [50.0, 997.0, 7_350.0, 14_700.0, 19_999.0])
@pytest.mark.parametrize("phase", [0.0, 0.4, 1.1])
def test_derivatives_and_summits_of_a_sine(hz, phase):
    rate, n = 88_200.0, 1_176
    w = 2.0 * np.pi * hz / rate
    x = np.sin(w * np.arange(-8, n + 8) + phase)
    e = np.zeros(n + 40, np.float32)
    e[: n + 15] = np.diff(x)  # e[k] is the step to x[k + 1]
    room = [np.empty(n + 2 + extremes.WIDE, np.float32) for _ in range(4)]
    extremes.derivatives(e, 6, rate, n + 2, *room)
    v, v_half, a, a_half = (values[: n + 2] for values in room)
    t = np.arange(-1, n + 1)
    np.testing.assert_allclose(v, rate * w * np.cos(w * t + phase), atol=1e-4 * rate * w)
    np.testing.assert_allclose(v_half, rate * w * np.cos(w * (t + 0.5) + phase), atol=1e-4 * rate * w)
    np.testing.assert_allclose(a, -((rate * w) ** 2) * np.sin(w * t + phase), atol=6e-4 * (rate * w) ** 2)
    np.testing.assert_allclose(a_half, -((rate * w) ** 2) * np.sin(w * (t + 0.5) + phase), atol=6e-4 * (rate * w) ** 2)
    on, half = a, a_half
    if hz > 100.0:  # at least one whole swing in the sector
        assert extremes.peak(on, half, n) == pytest.approx((rate * w) ** 2, rel=5e-3)
        assert extremes.crest_and_trough(x, 8, n + 8) == pytest.approx((1.0, -1.0), abs=3e-3)


def test_a_rising_edge_is_not_overshot():
    """A sector that ends on the way up has its greatest value at its end, nothing beyond."""
    x = np.arange(40.0)
    assert extremes.crest_and_trough(x, 8, 20) == (19.0, 8.0)
    assert extremes.summit(0.0, 1.0, 2.0, 3.0, 4.0) == 2.0


@pytest.mark.parametrize("length", [0, 1, 15, 16, 17, 63, 64, 65, 900])
@pytest.mark.parametrize("kind", [np.float64, np.float32])
def test_searches_are_numpys(length, kind):
    x = np.random.default_rng(5).standard_normal(1000).astype(kind)
    part, stop = x[3 : 3 + length], 3 + length
    if length == 0:
        assert search.ends(x, 3, 3) == (-np.inf, np.inf)
        assert search.magnitude_of(x, 3, 3) == 0.0
        assert search.first_of(x, 3, 3, 1.0, 0.0) == search.first_as_great(x, 3, 3, 0.0) == 3
        return
    assert search.ends(x, 3, stop) == (part.max(), part.min())
    assert search.first_of(x, 3, stop, 1.0, float(part.max())) == 3 + part.argmax()
    assert search.first_of(x, 3, stop, -1.0, float(-part.min())) == 3 + part.argmin()
    assert search.magnitude_of(x, 3, stop) == np.abs(part).max()
    assert search.first_as_great(x, 3, stop, float(np.abs(part).max())) == 3 + np.abs(part).argmax()
    assert search.first_as_great(x, 3, stop, 9.0) == search.first_of(x, 3, stop, 1.0, 9.0) == stop


@pytest.mark.parametrize("length", [1, 63, 64, 900])
def test_sums_of_squares_are_numpys(length):
    x = np.random.default_rng(5).standard_normal(1000).astype(np.float32)
    wanted = np.sum(x[3 : 3 + length].astype(np.float64) ** 2)
    assert extremes.sum_of_squares(x, 3, 3 + length) == pytest.approx(wanted, rel=1e-13)


def test_first_of_equal_values_is_found():
    x = np.zeros(300)
    x[[70, 200]] = -2.0
    assert search.first_as_great(x, 0, 300, 2.0) == 70
    assert search.first_of(x, 0, 300, -1.0, 2.0) == 70
    assert search.first_of(np.zeros(300), 5, 300, 1.0, 0.0) == 5
