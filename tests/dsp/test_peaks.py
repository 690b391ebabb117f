"""The sweep for peaks, runs and means against plain numpy; peaks and runs more closely in tests of their own."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.dsp.meters.peaks import SEGMENT, PeakSweep, sweep
from qc.dsp.meters.truepeak import HALF
from support.signals import pushed

NOISE = np.random.default_rng(4).standard_normal((2, 3000)) + np.array([[0.1], [-0.3]])


def heard(x, sizes=()):
    peaks, runs, means = pushed(PeakSweep(), x, sizes)
    return peaks, runs, tuple(means)


def test_means_against_numpy():
    np.testing.assert_allclose(heard(NOISE)[2], NOISE.mean(axis=1), rtol=1e-12)
    np.testing.assert_array_equal(PeakSweep().finish()[2], [0.0, 0.0])


@settings(max_examples=100, deadline=None)
@given(frames=st.integers(0, 3000), sizes=st.lists(st.integers(0, 700), max_size=12))
def test_any_blocks_give_the_same_digits(frames, sizes):
    x = np.clip(NOISE[:, :frames], -1.0, 1.0)
    assert heard(x) == heard(x, sizes)


@pytest.mark.parametrize("size", [1, HALF, SEGMENT, SEGMENT + 2 * HALF - 1, SEGMENT + 2 * HALF, 2 * SEGMENT + 3])
def test_blocks_of_one_size(size):
    x = np.clip(NOISE, -1.0, 1.0)
    assert heard(x) == heard(x, [size] * (3000 // size))


@pytest.mark.parametrize("at", [0, 1, SEGMENT - 1, SEGMENT, 1000, 2999])
def test_a_single_sample_is_found_wherever_it_lies(at):
    x = 0.01 * NOISE
    x[1, at] = -0.5
    peak = heard(x)[0][1]
    assert (peak.sample, peak.sample_frame) == (0.5, at)
    assert peak.true >= 0.5
    assert abs(peak.true_frame - at) <= 1.0


def test_a_run_goes_on_from_segment_to_segment_and_ends_in_one_that_is_passed_over():
    x = np.zeros((2, 10 * SEGMENT))
    x[0, SEGMENT - 2 : 3 * SEGMENT + 1] = 1.0
    x[0, 5 * SEGMENT + 100 : 5 * SEGMENT + 102] = 1.0  # two, then a quiet segment, then one: no run of three
    x[0, 7 * SEGMENT : 7 * SEGMENT + 1] = 1.0
    runs = heard(x)[1]
    assert (runs[0].count, runs[0].longest, runs[0].frame) == (1, 2 * SEGMENT + 3, SEGMENT - 2)
    assert runs[1].count == 0


def test_one_kernel_serves_read_only_and_writable_input():
    frozen = NOISE.copy()
    frozen.flags.writeable = False
    assert heard(frozen) == heard(NOISE) == heard(np.asfortranarray(NOISE))
    assert len(sweep.signatures) == 1
