"""Strides against the recursion itself, one frame after another."""

import numpy as np
import pytest

from qc.dsp.filters import biquad
from qc.dsp.meters.strides import AT_REST, settle, stride

SECTIONS = np.vstack([biquad.butterworth_2_high(10.0, 48_000), biquad.butterworth_4_low(300.0, 48_000)])


def recursion(sections, x):
    """One channel, sections one after another, frame by frame."""
    y = np.array(x)
    for b0, b1, b2, a1, a2 in sections:
        x1 = x2 = y1 = y2 = 0.0
        for i, u in enumerate(y.copy()):
            y[i] = b0 * u + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2
            x1, x2, y1, y2 = u, x1, y[i], y1
    return y


@pytest.mark.parametrize("sections", [SECTIONS[:1], SECTIONS[:2], SECTIONS])
@pytest.mark.parametrize("frames", [1, 2, 3, 8, 32])
def test_strides_give_what_the_recursion_gives(sections, frames):
    x = np.random.default_rng(frames).standard_normal(10 * frames)
    made, after = stride(sections, frames)
    states = 2 * len(sections)
    assert made.shape == (frames, states + frames)
    assert after.shape == (states, states + frames)
    state, got = np.zeros(states), []
    for start in range(0, len(x), frames):
        known = np.concatenate([state, x[start : start + frames]])
        got.append(made @ known)
        state = after @ known
    np.testing.assert_allclose(np.concatenate(got), recursion(sections, x), rtol=1e-9, atol=1e-12)


def test_a_stride_of_no_frames_changes_nothing():
    made, after = stride(SECTIONS, 0)
    assert made.shape == (0, 6)
    np.testing.assert_array_equal(after, np.eye(6))


def test_what_is_at_rest_is_nought():
    state = np.array([0.5 * AT_REST, -0.5 * AT_REST, 2.0 * AT_REST, -1.0, 0.0])
    settle(state)
    np.testing.assert_array_equal(state, [0.0, 0.0, 2.0 * AT_REST, -1.0, 0.0])
