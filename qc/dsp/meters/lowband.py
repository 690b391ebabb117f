"""Energies of the low band and what its channels have in common: the filter and the sums in one sweep.

The band ends at 300 Hz, so its energy needs no more than some 5000 values a second; the frames between are never worked
out. What is, is exact: each stride (`strides`) gives the state after it in lanes 0..5, and in lanes 6 and 7 two
values of the band, each of which represents half of the stride.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import biquad
from qc.dsp.kernels.compile import kernel
from qc.dsp.kernels.simd import lane, picker, repeater, store
from qc.dsp.meters.strides import settle, stride
from qc.dsp.meters.windows import Windows, keep, load, splat

Array = NDArray[np.float64]

LOW_BAND_HZ = 300.0
STRIDES_A_SECOND = 2700
"""At the least. A value of the band in each half of it: what folds down upon the band comes from above 5 kHz."""
STATES = 6
"""Numbers that the three sections of a channel keep from stride to stride."""
_AT_ONCE = 4
"""Frames that a walk over a stride takes at once; the last ones may have no weight."""

_each = repeater(8)
_s0, _s1, _s2, _s3, _s4, _s5 = (picker([k] * 8) for k in range(STATES))


def low_band(subsonic: float, rate: float) -> biquad.Sections:
    """Return the sections from `subsonic` Hz, a 2nd-order Butterworth high-pass (none at 0), to 300 Hz, 4th-order."""
    low = biquad.butterworth_4_low(LOW_BAND_HZ, rate)
    return np.vstack([biquad.butterworth_2_high(subsonic, rate) if subsonic else biquad.UNITY, low])


def stride_frames(rate: float) -> int:
    """Frames of a stride: a power of two, so that what is taken at once always fits."""
    return max(_AT_ONCE, 1 << int(np.log2(max(1.0, rate / STRIDES_A_SECOND))))


def weights(sections: biquad.Sections, frames: int) -> Array:
    """Return the weights of a stride, flat: eight for each of the six states, then for each frame."""
    made, after = stride(sections, frames)
    rows = np.zeros((STATES + -(-frames // _AT_ONCE) * _AT_ONCE, 8))
    rows[: STATES + frames, :STATES] = after.T
    if frames:
        rows[: STATES + frames, STATES:] = made[[frames // 4, 3 * frames // 4]].T
    return rows.reshape(-1)


@kernel
def _two(start: Any, weight: Any, other: Any, row: Array, i: int) -> Any:
    """Add frames i and i + 2, each times its weights."""
    return start + weight * _each(row, i) + other * _each(row, i + 2)


@kernel
def _onward(s: Any, added: Any, w: Array) -> Any:
    """Return the eight lanes of a stride from those of the one before it and from what its frames add."""
    return (added + load(w, 0) * _s0(s) + load(w, 8) * _s1(s) + load(w, 16) * _s2(s)) + (
        load(w, 24) * _s3(s) + load(w, 32) * _s4(s) + load(w, 40) * _s5(s)
    )


@kernel
def _strides(x: Array, at: int, count: int, frames: int, w: Array, state: Array, sums: Array) -> None:
    """Take `count` strides from index `at` on and add their L^2, R^2 and L R, each times its frames, to `sums`."""
    left, right = x[0], x[1]
    a, b = load(state, 0), load(state, 8)
    l2 = r2 = lr = splat(0.0)
    for number in range(count):
        start = at + number * frames
        added_l = more_l = added_r = more_r = splat(0.0)
        for j in range(0, frames, _AT_ONCE):
            k, i = 8 * (STATES + j), start + j
            w0, w1, w2, w3 = load(w, k), load(w, k + 8), load(w, k + 16), load(w, k + 24)
            added_l, more_l = _two(added_l, w0, w2, left, i), _two(more_l, w1, w3, left, i + 1)
            added_r, more_r = _two(added_r, w0, w2, right, i), _two(more_r, w1, w3, right, i + 1)
        a, b = _onward(a, added_l + more_l, w), _onward(b, added_r + more_r, w)
        l2, r2, lr = l2 + a * a, r2 + b * b, lr + a * b
    store(state, 0, a)
    store(state, 8, b)
    each = 0.5 * frames
    sums[0] += each * (lane(l2, 6) + lane(l2, 7))
    sums[1] += each * (lane(r2, 6) + lane(r2, 7))
    sums[2] += each * (lane(lr, 6) + lane(lr, 7))


@kernel
def low_band_sums(
    x: Array, filled: int, window: int, buffer: Array, frames: int, whole: Array, rest: Array, state: Array,
    out: Array,
) -> None:  # fmt: skip
    """Set each row of `out` to the sums of L^2, R^2 and L R of a window; see `Windows.add`.

    `whole` and `rest` are the weights of a stride of `frames` and of a window's last ones.
    """
    at, count, left = -filled, window // frames, window % frames
    reach = -(-window // _AT_ONCE) * _AT_ONCE
    for k in range(out.shape[0]):
        source, first = x, at
        if at < 0 or at + reach > x.shape[1]:  # it begins before x, or its last stride ends behind it
            keep(x, at, at + window, buffer)
            source, first = buffer, 0
        out[k, :] = 0.0
        _strides(source, first, count, frames, whole, state, out[k])
        if left:
            _strides(source, first + count * frames, 1, left, rest, state, out[k])
        settle(state)
        at += window
    keep(x, at, x.shape[1], buffer)


class LowBandSums(Windows):
    """Sums of L^2, R^2 and L R below 300 Hz over windows of `window` frames from frame 0 on; two channels."""

    def __init__(self, rate: int, window: int, subsonic: float, frames: int = 0) -> None:
        self._sections, self._frames = low_band(subsonic, rate), stride_frames(rate)
        self._whole = weights(self._sections, self._frames)
        self._state = np.zeros(16)
        super().__init__(window, 3, frames)

    def last_lanes(self, window: int) -> Array:
        """Return the weights of the last stride."""
        return weights(self._sections, window % self._frames)

    def add(self, x: Array, filled: int, window: int, last: Array, out: Array) -> None:
        """Sum up as many windows as `out` has rows."""
        low_band_sums(x, filled, window, self.buffer, self._frames, self._whole, last, self._state, out)
