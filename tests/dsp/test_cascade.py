"""The pipelined cascade against the same sections run one after the other, in plain Python."""

import numpy as np
import pytest

from qc.dsp.filters import biquad, cascade, recording


def plain(x, sections):
    """Direct form 1, one section after the other, (n,)."""
    for b0, b1, b2, a1, a2 in sections:
        y = np.zeros(len(x) + 2)
        x = np.concatenate([[0.0, 0.0], x])
        for i in range(2, len(x)):
            y[i] = b0 * x[i] + b1 * x[i - 1] + b2 * x[i - 2] - a1 * y[i - 1] - a2 * y[i - 2]
        x = y[2:]
    return x


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_lanes_are_the_sections_one_after_the_other(dtype):
    rate, n = 96_000.0, 4_000
    sections = np.vstack([recording.displacement(10.0, rate), biquad.butterworth_4_low(300.0, rate)])
    x = np.random.default_rng(4).standard_normal((2, n)).astype(dtype)
    state, second, fourth = cascade.at_rest(), np.zeros((2, n)), np.zeros((2, n))
    done = 0
    for count in (1, 2, 3, 500, n - 506):  # the state is carried on
        part = slice(done, done + count)
        a, b = np.zeros((2, count)), np.zeros((2, count))
        cascade.run(*x[:, part], count, cascade.coefficients(sections), state, a, b)
        second[:, part], fourth[:, part] = a, b
        done += count
    for channel in range(2):
        two, four = (plain(x[channel].astype(np.float64), sections[:k]) for k in (2, 4))
        late = cascade.LAG
        np.testing.assert_allclose(second[channel, late:], two[:-late], rtol=0, atol=1e-10 * np.abs(two).max())
        np.testing.assert_allclose(
            fourth[channel, 3 * late :], four[: -3 * late], rtol=0, atol=1e-10 * np.abs(four).max()
        )
        assert not second[channel, :late].any()
        assert not fourth[channel, : 3 * late].any()


def test_missing_sections_pass_all():
    x = np.random.default_rng(5).standard_normal((2, 64))
    out = np.zeros((2, 80))
    cascade.run_all(x, 3, 50, cascade.coefficients(np.array([biquad.UNITY])), cascade.at_rest(), out, 7)
    np.testing.assert_array_equal(out[:, 7 + 3 * cascade.LAG : 57], x[:, 3 : 53 - 3 * cascade.LAG])


def test_digital_silence_ends_at_rest():
    state = np.full((7, 8), 1e-200)
    state[3] = 1e-3
    cascade.settle(state)
    assert not np.delete(state, 3, axis=0).any()
    assert (state[3] == 1e-3).all()
