"""Sums over windows against plain numpy, in any blocks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.dsp.meters.windows import WindowSums, part_frames, sliding, window_sums
from support.signals import pushed

NOISE = np.random.default_rng(5).standard_normal((2, 3000))


def plain(x, window):
    rows, counts = [], []
    for start in range(0, x.shape[1], window):
        left, right = x[:, start : start + window]
        rows.append([left @ left, right @ right, left @ right])
        counts.append(len(left))
    return np.array(rows).reshape(-1, 3), np.array(counts)


@pytest.mark.parametrize("window", [1, 2, 3, 5, 441, 960, 3000, 4000])
@pytest.mark.parametrize("frames", [0, 1, 959, 960, 961, 3000])
def test_against_numpy(window, frames):
    x = NOISE[:, :frames]
    sums, counts = pushed(WindowSums(window), x)
    wanted, wanted_counts = plain(x, window)
    np.testing.assert_allclose(sums, wanted, rtol=1e-12, atol=1e-10)
    np.testing.assert_array_equal(counts, wanted_counts)


@settings(max_examples=60, deadline=None)
@given(window=st.integers(1, 500), frames=st.integers(0, 3000), sizes=st.lists(st.integers(0, 700), max_size=12))
def test_any_blocks_give_the_same_digits(window, frames, sizes):
    x = NOISE[:, :frames]
    whole, parts = pushed(WindowSums(window), x), pushed(WindowSums(window), x, sizes)
    np.testing.assert_array_equal(whole[0], parts[0])
    np.testing.assert_array_equal(whole[1], parts[1])


def test_store_grows():
    x = np.ones((2, 5000))
    sums, counts = pushed(WindowSums(1), x, [1] * 100)
    assert sums.shape == (5000, 3)
    assert np.all(sums == 1.0)
    assert counts.sum() == 5000


def test_read_only_and_strided_input():
    x = np.asfortranarray(NOISE)
    x.flags.writeable = False
    np.testing.assert_array_equal(pushed(WindowSums(100), x)[0], pushed(WindowSums(100), NOISE)[0])


def test_one_kernel_serves_read_only_and_writable_input():
    frozen = NOISE.copy()
    frozen.flags.writeable = False
    for x in (frozen, NOISE, NOISE[:, :1], NOISE[:, :0]):
        pushed(WindowSums(100), x)
    assert len(window_sums.signatures) == 1


@pytest.mark.parametrize("width", [1, 2, 3, 7, 40, 300])
@pytest.mark.parametrize("rows", [0, 1, 39, 40, 41, 700])
def test_sliding_against_numpy(width, rows):
    values = np.random.default_rng(rows).random((rows, 3))
    wanted = [values[k : k + width].sum(axis=0) for k in range(max(0, rows - width + 1))]
    got = sliding(values, width)
    assert got.shape == (len(wanted), 3)
    np.testing.assert_allclose(got, np.array(wanted).reshape(-1, 3), rtol=1e-13)
    np.testing.assert_array_equal(sliding(values[:, 0], width), got[:, 0])


def test_parts_are_whole_at_the_rates_in_use():
    rates = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
    assert [part_frames(rate) * 100 for rate in rates] == list(rates)
