"""Spectra of two channels at once: one complex transform of left + i right, eight float64 lanes side by side.

Sample 8 i + j goes into lane j. Each lane is transformed by itself, in steps of four in Stockham's order, which needs
no sorting, and the eight spectra are then joined. The even and the odd part of the result are the two channels'.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.aligned import room
from qc.dsp.kernels.compile import inlined, kernel
from qc.dsp.kernels.simd import joiner, loader, repeater, splatter, store

Array = NDArray[np.float64]
Samples = NDArray[np.float32]

LANES = 8
LEAST = 64
"""Fewest frames of a spectrum."""
_load, _alike, _splat = loader(LANES), repeater(LANES), splatter(LANES)
_first, _last = joiner([0, 8, 1, 9, 2, 10, 3, 11]), joiner([4, 12, 5, 13, 6, 14, 7, 15])
Eight = tuple[Any, Any, Any, Any, Any, Any, Any, Any]


class TwoSpectra:
    """Spectra of two channels over frames of one size, a power of two: what numpy's `rfft` returns of each."""

    def __init__(self, size: int) -> None:
        """Prepare the weights; raises ValueError for a size below LEAST or no power of two."""
        if size < LEAST or size & (size - 1):
            raise ValueError(f"a spectrum is taken of a power of two from {LEAST} on, not of {size} frames")
        self._bins = size // 2 + 1
        self._turns, self._joining = room(2, size), room(2, size)
        turns = np.exp(-2j * np.pi / size * np.arange(size))
        joining = turns[np.outer(np.arange(size // LANES), np.arange(LANES))].ravel()
        for rows, weights in ((self._turns, turns), (self._joining, joining)):
            rows[0, :size], rows[1, :size] = weights.real, weights.imag
        self._room = room(4, size)

    def of(self, frame: Samples) -> NDArray[np.complex64]:
        """Return the spectra, (2, size / 2 + 1), of a frame (2, size)."""
        out = np.empty((2, 2 * self._bins), np.float32)
        transform(frame, self._turns, self._joining, self._room, out)
        return out.view(np.complex64)


@kernel
def transform(frame: Samples, turns: Array, joining: Array, work: Array, out: Samples) -> None:
    """Put the spectra of `frame` (2, n) into `out` (2, n + 2), real and imaginary parts in turn.

    `turns` are the n roots of one and `joining` the weights of the lanes, as real and imaginary parts (2, n); `work` is
    room (4, n). Their rows may be longer. A channel of zeros has a spectrum of zeros.
    """
    n = frame.shape[1]
    re, im, to_re, to_im = work[0], work[1], work[2], work[3]
    one, two = frame[0], frame[1]
    top_left = top_right = np.float32(0.0)
    for i in range(n):
        re[i], im[i] = one[i], two[i]
    for i in range(n):
        top_left, top_right = max(top_left, abs(one[i])), max(top_right, abs(two[i]))
    length, stride = n // LANES, LANES
    while length >= 4:
        _by_four(re, im, to_re, to_im, turns[0], turns[1], length, stride, n)
        re, im, to_re, to_im = to_re, to_im, re, im
        length, stride = length // 4, 4 * stride
    if length == 2:
        _by_two(re, im, to_re, to_im, stride)
        re, im, to_re, to_im = to_re, to_im, re, im
    _join(re, im, to_re, to_im, joining[0], joining[1], n // LANES)
    _parts(to_re, to_im, out[0], out[1], n)
    if top_left == 0.0:
        out[0, :] = np.float32(0.0)
    if top_right == 0.0:
        out[1, :] = np.float32(0.0)


@inlined
def _times(re: Any, im: Any, turn_re: Any, turn_im: Any) -> tuple[Any, Any]:
    """Product of two complex numbers."""
    return re * turn_re - im * turn_im, re * turn_im + im * turn_re


@inlined
def _fourth(a_re: Any, a_im: Any, b_re: Any, b_im: Any, c_re: Any, c_im: Any, d_re: Any, d_im: Any) -> Eight:
    """Transform of four complex numbers."""
    p_re, p_im, q_re, q_im = a_re + c_re, a_im + c_im, a_re - c_re, a_im - c_im
    r_re, r_im, s_re, s_im = b_re + d_re, b_im + d_im, b_im - d_im, d_re - b_re
    return p_re + r_re, p_im + r_im, q_re + s_re, q_im + s_im, p_re - r_re, p_im - r_im, q_re - s_re, q_im - s_im


@kernel
def _by_four(
    re: Array, im: Array, to_re: Array, to_im: Array, turn_re: Array, turn_im: Array, length: int, stride: int, n: int
) -> None:  # fmt: skip
    """One step of transforms of `length` values that lie `stride` apart."""
    quarter = length // 4
    apart = quarter * stride
    for p in range(quarter):
        k = p * (n // length)
        u_re, u_im = _alike(turn_re, k), _alike(turn_im, k)
        v_re, v_im = _alike(turn_re, 2 * k), _alike(turn_im, 2 * k)
        w_re, w_im = _alike(turn_re, 3 * k), _alike(turn_im, 3 * k)
        for q in range(0, stride, LANES):
            i, o = q + stride * p, q + 4 * stride * p
            x, x_im, y, y_im, z, z_im, t, t_im = _fourth(
                _load(re, i), _load(im, i), _load(re, i + apart), _load(im, i + apart),
                _load(re, i + 2 * apart), _load(im, i + 2 * apart), _load(re, i + 3 * apart), _load(im, i + 3 * apart),
            )  # fmt: skip
            store(to_re, o, x)
            store(to_im, o, x_im)
            y, y_im = _times(y, y_im, u_re, u_im)
            store(to_re, o + stride, y)
            store(to_im, o + stride, y_im)
            z, z_im = _times(z, z_im, v_re, v_im)
            store(to_re, o + 2 * stride, z)
            store(to_im, o + 2 * stride, z_im)
            t, t_im = _times(t, t_im, w_re, w_im)
            store(to_re, o + 3 * stride, t)
            store(to_im, o + 3 * stride, t_im)


@kernel
def _by_two(re: Array, im: Array, to_re: Array, to_im: Array, stride: int) -> None:
    """Take the last step where the length of a lane is twice a power of four."""
    for q in range(0, stride, LANES):
        a_re, a_im, b_re, b_im = _load(re, q), _load(im, q), _load(re, q + stride), _load(im, q + stride)
        store(to_re, q, a_re + b_re)
        store(to_im, q, a_im + b_im)
        store(to_re, q + stride, a_re - b_re)
        store(to_im, q + stride, a_im - b_im)


@inlined
def _shuffled(x: Eight) -> Eight:
    """Eight vectors, each the lanes of two in turn; after three times lanes and vectors have changed places."""
    a, b, c, d, e, f, g, h = x
    return _first(a, e), _last(a, e), _first(b, f), _last(b, f), _first(c, g), _last(c, g), _first(d, h), _last(d, h)


@inlined
def _lanes(re: Array, im: Array, turn_re: Array, turn_im: Array, i: int) -> tuple[Any, Any]:
    """Weigh one value of each lane's spectrum."""
    return _times(_load(re, i), _load(im, i), _load(turn_re, i), _load(turn_im, i))


@kernel
def _join(re: Array, im: Array, to_re: Array, to_im: Array, turn_re: Array, turn_im: Array, many: int) -> None:
    """Weigh the spectra of the lanes, of `many` values each, and join them into one."""
    root, minus = _splat(np.sqrt(0.5)), _splat(-1.0)
    for k in range(0, many, LANES):
        i = LANES * k
        a, a_im = _lanes(re, im, turn_re, turn_im, i)
        b, b_im = _lanes(re, im, turn_re, turn_im, i + LANES)
        c, c_im = _lanes(re, im, turn_re, turn_im, i + 2 * LANES)
        d, d_im = _lanes(re, im, turn_re, turn_im, i + 3 * LANES)
        e, e_im = _lanes(re, im, turn_re, turn_im, i + 4 * LANES)
        f, f_im = _lanes(re, im, turn_re, turn_im, i + 5 * LANES)
        g, g_im = _lanes(re, im, turn_re, turn_im, i + 6 * LANES)
        h, h_im = _lanes(re, im, turn_re, turn_im, i + 7 * LANES)
        a, b, c, d, e, f, g, h = _shuffled(_shuffled(_shuffled((a, b, c, d, e, f, g, h))))
        a_im, b_im, c_im, d_im, e_im, f_im, g_im, h_im = _shuffled(
            _shuffled(_shuffled((a_im, b_im, c_im, d_im, e_im, f_im, g_im, h_im)))
        )
        p, p_im, q, q_im, r, r_im, s, s_im = _fourth(a, a_im, c, c_im, e, e_im, g, g_im)
        t, t_im, u, u_im, v, v_im, w, w_im = _fourth(b, b_im, d, d_im, f, f_im, h, h_im)
        u, u_im = root * (u + u_im), root * (u_im - u)
        v, v_im = v_im, minus * v
        w, w_im = root * (w_im - w), minus * (root * (w + w_im))
        store(to_re, k, p + t)
        store(to_im, k, p_im + t_im)
        store(to_re, k + many, q + u)
        store(to_im, k + many, q_im + u_im)
        store(to_re, k + 2 * many, r + v)
        store(to_im, k + 2 * many, r_im + v_im)
        store(to_re, k + 3 * many, s + w)
        store(to_im, k + 3 * many, s_im + w_im)
        store(to_re, k + 4 * many, p - t)
        store(to_im, k + 4 * many, p_im - t_im)
        store(to_re, k + 5 * many, q - u)
        store(to_im, k + 5 * many, q_im - u_im)
        store(to_re, k + 6 * many, r - v)
        store(to_im, k + 6 * many, r_im - v_im)
        store(to_re, k + 7 * many, s - w)
        store(to_im, k + 7 * many, s_im - w_im)


@kernel
def _parts(re: Array, im: Array, left: Samples, right: Samples, n: int) -> None:
    """Take the spectra of the real and the imaginary part out of one."""
    left[0], left[1], right[0], right[1] = re[0], 0.0, im[0], 0.0
    for k in range(1, n // 2 + 1):
        left[2 * k], left[2 * k + 1] = 0.5 * (re[k] + re[n - k]), 0.5 * (im[k] - im[n - k])
        right[2 * k], right[2 * k + 1] = 0.5 * (im[k] + im[n - k]), 0.5 * (re[n - k] - re[k])
