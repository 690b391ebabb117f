"""Energies of a signal behind two sections of a filter, such as K-weighting: the filter and the sums in one sweep.

The filtered signal itself is kept nowhere. Eight frames of both channels are worked out at once (`strides`): lanes
0..3 belong to the left channel, 4..7 to the right.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters.biquad import Sections
from qc.dsp.kernels.compile import kernel
from qc.dsp.kernels.simd import joiner, lane, loader, picker, repeater, store, widen
from qc.dsp.meters.strides import settle, stride
from qc.dsp.meters.windows import Wave, Windows, keep, load, splat, total

Array = NDArray[np.float64]

STRIDE = 8
"""Frames worked on at once."""
STATES = 4
"""Numbers that the two sections of a channel keep from stride to stride."""
_INPUTS = STATES + STRIDE
_EARLY, _LATE, _AFTER = (kind * _INPUTS * 4 for kind in range(3))
"""Index of the weights of the first four frames of a stride, of the last four, and of the state after it."""

_each, _weight, _side_by_side = repeater(4), loader(4), joiner(range(8))
_low_four, _high_four = picker(range(4)), picker(range(4, 8))
_first, _second, _third, _fourth = (picker([k] * 4 + [4 + k] * 4) for k in range(4))


def weights(sections: Sections, frames: int) -> Array:
    """Return the weights of a stride of up to eight frames, flat; those of frames that are not in it are zero."""
    made, after = stride(sections, frames)
    rows = np.zeros((3, _INPUTS, 4))  # of early, late, after: from each state and each frame; channels have the same
    rows[0, : STATES + frames, : min(frames, 4)] = made[:4].T
    rows[1, : STATES + frames, : max(0, frames - 4)] = made[4:].T
    rows[2, : STATES + frames] = after.T
    return rows.reshape(-1)


@kernel
def _both(left: Wave, right: Wave, i: int) -> Any:
    """Frame i of the left channel in four lanes, of the right in four."""
    return widen(_side_by_side(_each(left, i), _each(right, i)))


@kernel
def _of(w: Array, k: int) -> Any:
    """Four weights from index k on, for either channel."""
    four = _weight(w, k)
    return _side_by_side(four, four)


@kernel
def _four(start: Any, w: Array, k: int, a: Any, b: Any, c: Any, d: Any) -> Any:
    """Add four inputs, each times its weights, in an order in which they wait for each other the least."""
    return (start + _of(w, k) * a + _of(w, k + 4) * b) + (_of(w, k + 8) * c + _of(w, k + 12) * d)


@kernel
def _strides(x: Wave, at: int, count: int, w: Array, state: Array, squares: Array) -> None:
    """Take `count` strides from index `at` on and add the squares of what they make to the eight sums."""
    left, right = x[0], x[1]
    s, early_squares, late_squares, zero = load(state, 0), load(squares, 0), splat(0.0), splat(0.0)
    for i in range(at, at + count * STRIDE, STRIDE):
        x0, x1, x2, x3 = (
            _both(left, right, i), _both(left, right, i + 1), _both(left, right, i + 2), _both(left, right, i + 3),
        )  # fmt: skip
        x4, x5, x6, x7 = (
            _both(left, right, i + 4), _both(left, right, i + 5), _both(left, right, i + 6), _both(left, right, i + 7),
        )  # fmt: skip
        early = _four(zero, w, _EARLY + 16, x0, x1, x2, x3)
        late = _four(_four(zero, w, _LATE + 16, x0, x1, x2, x3), w, _LATE + 32, x4, x5, x6, x7)
        after = _four(_four(zero, w, _AFTER + 16, x0, x1, x2, x3), w, _AFTER + 32, x4, x5, x6, x7)
        s0, s1, s2, s3 = _first(s), _second(s), _third(s), _fourth(s)
        early, late = _four(early, w, _EARLY, s0, s1, s2, s3), _four(late, w, _LATE, s0, s1, s2, s3)
        s = _four(after, w, _AFTER, s0, s1, s2, s3)
        early_squares, late_squares = early_squares + early * early, late_squares + late * late
    store(state, 0, s)
    store(squares, 0, early_squares + late_squares)


@kernel
def filtered_sums(
    x: Wave, filled: int, window: int, buffer: Wave, whole: Array, rest: Array, state: Array,
    squares: Array, out: Array,
) -> None:  # fmt: skip
    """Set each row of `out` to the energy of a window; see `Windows.add`.

    With one column that of both channels together, with two that of each. `whole` and `rest` are the weights of eight
    frames and of a window's last ones.
    """
    reach = -(-window // STRIDE) * STRIDE
    at = -filled
    for k in range(out.shape[0]):
        source, first = x, at
        if at < 0 or at + reach > x.shape[1]:  # it begins before x, or its last stride ends behind it
            keep(x, at, at + window, buffer)
            source, first = buffer, 0
        store(squares, 0, splat(0.0))
        _strides(source, first, window // STRIDE, whole, state, squares)
        _strides(source, first + window // STRIDE * STRIDE, min(1, window % STRIDE), rest, state, squares)
        settle(state)
        if out.shape[1] == 1:
            out[k, 0] = total(load(squares, 0))
        else:
            left, right = _low_four(load(squares, 0)), _high_four(load(squares, 0))
            out[k, 0] = (lane(left, 0) + lane(left, 1)) + (lane(left, 2) + lane(left, 3))
            out[k, 1] = (lane(right, 0) + lane(right, 1)) + (lane(right, 2) + lane(right, 3))
        at += window
    keep(x, at, x.shape[1], buffer)


class FilteredSums(Windows):
    """Energy behind two sections over windows of `window` frames from frame 0 on.

    Parameters
    ----------
    sections
        The two sections, (2, 5).
    window
        Frames in a window.
    columns
        1 for the energy of both channels together, 2 for that of each.
    frames
        Frames of the stream, if the reader knows their count.
    kind
        Type of the samples.
    """

    def __init__(
        self, sections: Sections, window: int, columns: int, frames: int = 0, kind: type[np.generic] = np.float64
    ) -> None:  # fmt: skip
        self._sections, self._whole = sections, weights(sections, STRIDE)
        self._state, self._squares = np.zeros(2 * STATES), np.zeros(8)
        super().__init__(window, columns, frames)
        self.buffer = self.buffer.astype(kind)

    def begin_with(self, left: float, right: float) -> None:
        """Filter as if these samples had been there for ever before the first frame, behind a high-pass."""
        state = []
        for level in (left, right):
            x = level
            for b0, b1, b2, a1, a2 in self._sections:
                y = x * (b0 + b1 + b2) / (1.0 + a1 + a2)
                state += [y - b0 * x, b2 * x - a2 * y]
                x = y
        self._state[:] = state

    def last_lanes(self, window: int) -> Array:
        """Return the weights of the last stride."""
        return weights(self._sections, window % STRIDE)

    def add(self, x: Wave, filled: int, window: int, last: Array, out: Array) -> None:
        """Sum up as many windows as `out` has rows."""
        filtered_sums(x, filled, window, self.buffer, self._whole, last, self._state, self._squares, out)
