"""Sums of the samples against plain numpy, for any blocks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.dsp.meters.channel_sums import ChannelSums, channel_sums

NOISE = np.random.default_rng(3).standard_normal((2, 20_000)) + 0.5


def expected(x, window):
    """By the definition, window by window."""
    rows = [x[:, start : start + window].sum(axis=1) for start in range(0, x.shape[1], window)]
    return np.array(rows).reshape(-1, 2)


def pushed(x, window, sizes=()):
    sums, at = ChannelSums(window), 0
    for size in (*sizes, x.shape[1]):
        sums.push(x[:, at : at + size])
        at += size
    return sums.finish()


@pytest.mark.parametrize("window", [1, 2, 7, 8, 9, 16, 17, 80, 441, 480])
@pytest.mark.parametrize("frames", [0, 1, 8, 481, 5000])
def test_against_numpy(window, frames):
    sums, counts = pushed(NOISE[:, :frames], window)
    assert sums == pytest.approx(expected(NOISE[:, :frames], window), rel=1e-12, abs=1e-11)
    assert counts.sum() == frames


@settings(max_examples=25, deadline=None)
@given(frames=st.integers(0, 20_000), window=st.integers(1, 700), sizes=st.lists(st.integers(0, 3_000), max_size=8))
def test_any_blocks_give_the_same_digits(frames, window, sizes):
    x = NOISE[:, :frames]
    assert (pushed(x, window, sizes)[0] == pushed(x, window)[0]).all()


def test_one_kernel_for_all():
    pushed(NOISE, 480)
    pushed(NOISE[:, ::2], 441)
    assert len(channel_sums.signatures) == 1
