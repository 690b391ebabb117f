"""Clipped runs against a plain count."""

from itertools import groupby

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.dsp.meters.peaks import PeakSweep
from qc.dsp.meters.runs import NEAR_FULL_SCALE
from support.signals import pushed


def heard(x, sizes=()):
    return pushed(PeakSweep(), x, sizes)[1]


def plain(x):
    """Runs of one channel: number, longest, its first frame, the first frame of all, the one behind the last."""
    extremes = [v for v, size in ((x.max(), x.max()), (x.min(), -x.min())) if size >= NEAR_FULL_SCALE]
    found, at = [], 0
    for value, group in groupby(x):
        length = len(list(group))
        if value in extremes and length >= 3:
            found.append((length, at))
        at += length
    around = (found[0][1], found[-1][1] + found[-1][0]) if found else (0, 0)
    return len(found), *max(found, key=lambda f: (f[0], -f[1]), default=(0, 0)), *around


LEVELS = st.sampled_from([0.0, 0.5, 0.98, 0.99, 1.0, -0.5, -0.99, -1.0])
CHANNEL = st.lists(st.tuples(LEVELS, st.integers(1, 6)), min_size=1, max_size=60)


@settings(max_examples=200, deadline=None)
@given(left=CHANNEL, right=CHANNEL, sizes=st.lists(st.integers(0, 60), max_size=8))
def test_against_plain_count_in_any_blocks(left, right, sizes):
    channels = [np.concatenate([np.full(n, value) for value, n in c]) for c in (left, right)]
    frames = min(map(len, channels))
    x = np.vstack([c[:frames] for c in channels])
    for got, channel in zip(heard(x, sizes), x, strict=True):
        assert (got.count, got.longest, got.frame, got.begin, got.end) == plain(channel)


def test_long_signal_is_passed_over_quickly_and_rightly():
    x = np.clip(np.random.default_rng(2).standard_normal((2, 20_000)), -1.0, 1.1)
    x[0, 5000:5007] = 1.1
    for got, channel in zip(heard(x, [3000, 2003, 1, 1]), x, strict=True):
        assert (got.count, got.longest, got.frame, got.begin, got.end) == plain(channel)


@pytest.mark.parametrize(
    ("values", "count"),
    [
        ([1.0, 1.0], 0),
        ([1.0, 1.0, 1.0], 1),
        ([0.98, 0.98, 0.98], 0),  # -0.18 dBFS
        ([0.989, 0.989, 0.989], 1),  # -0.096 dBFS
        ([0.99, 0.99, 0.99, 1.0], 0),  # not the greatest
        ([1.0, 1.0, 1.0, 0.0, -0.99, -0.99, -0.99], 2),  # each extreme by itself
        ([1.0, 1.0, 1.0, -1.0, -1.0, -1.0, 1.0, 1.0, 1.0], 3),
    ],
)
def test_definition(values, count):
    left, right = heard(np.array([values, np.zeros(len(values))]))
    assert left.count == count
    assert right.count == 0
