"""What a part of the sectors of a window reaches, against windows sorted one by one."""

import numpy as np
import pytest

from qc.groove.geometry.kept import kept_along, kept_most


@pytest.mark.parametrize("values", [1, 39, 750, 3_000])
@pytest.mark.parametrize("steps", [3, 1_000])
def test_the_most_that_a_part_of_a_window_reaches_is_that_of_the_first_worst_window(values, steps):
    """In fine steps, and in three, so that many windows reach as much."""
    x = np.random.default_rng(values).integers(0, steps, values) / steps
    windows = np.lib.stride_tricks.sliding_window_view(x, min(750, values))
    count = -(-windows.shape[1] // 20)
    along = np.sort(windows, axis=1)[:, -count]
    np.testing.assert_array_equal(kept_along(x, 750, 0.05), along)
    start = int(along.argmax())
    end = start + windows.shape[1]
    assert kept_most(x, 750, 0.05) == (along[start], start + int(x[start:end].argmax()), start, end)
