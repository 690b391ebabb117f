"""The decimator against scipy's filter, of which it keeps one value of several."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import firwin, lfilter

from qc.dsp.filters.decimator import Decimator

NOISE = np.random.default_rng(8).standard_normal((2, 6_000))


@pytest.mark.parametrize("by", [1, 3, 8, 16])
@pytest.mark.parametrize("taps", [1, 16, 45, 64, 320])
def test_it_keeps_the_last_value_of_so_many(by, taps):
    weights = firwin(taps, 0.5 / by) if taps > 1 else np.ones(1)
    weights[0] += 0.1  # not symmetric
    wanted = lfilter(weights, [1.0], NOISE, axis=1)[:, by - 1 :: by]
    np.testing.assert_allclose(Decimator(weights, by).push(NOISE), wanted, atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    taps=st.sampled_from([16, 64, 320]),
    by=st.sampled_from([1, 8, 16]),
    sizes=st.lists(st.integers(0, 700), max_size=12),
)
def test_any_blocks_give_the_same_digits(taps, by, sizes):
    weights = firwin(taps, 0.5)
    whole, parts = Decimator(weights, by).push(NOISE), Decimator(weights, by)
    borders = np.minimum(np.cumsum(np.array(sizes, dtype=int)), NOISE.shape[1])
    pieces = [parts.push(piece) for piece in np.split(NOISE, borders, axis=1)]
    np.testing.assert_array_equal(np.concatenate(pieces, axis=1), whole)
