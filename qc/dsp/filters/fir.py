"""Linear-phase FIR filters: designs in closed form, and streams that pass, double or halve the rate.

One kernel serves every symmetric filter and each phase of an interpolator: a convolution with taps of its own. A
decimator has few taps, every other one zero, and a kernel for those. Delays are taken out: output 0 lies at input 0.

Samples and sums are float32, sixteen outputs in a vector: 24 bits of the programme at its own level, before anything
is integrated or differentiated, and twice as fast as float64. Recursive filters must not be.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.aligned import room
from qc.dsp.kernels.compile import index, kernel, read_only
from qc.dsp.kernels.simd import joiner, loader, narrow, repeater, splatter, store
from qc.dsp.kernels.target import AVX512

Array = NDArray[np.float64]
Waves = NDArray[np.float32]
Wave = NDArray[Any]
"""A channel's samples, float64 or float32."""

CHUNK = 128
"""Outputs that may be worked out at once: room for so many is left behind rows."""
STEP = 1024
"""Frames that are taken in at once: what becomes of them stays in the nearest cache until it is done."""
_WIDE = 16
AT_ONCE = 8 if AVX512 else 4
"""Vectors of sums that are worked on at once, so that none has to wait for itself: what stays in registers, and not one
more. The order in each sum is the same."""
_load, _splat, _each = loader(_WIDE), splatter(_WIDE), repeater(_WIDE)
_evens, _odds = joiner(range(0, 2 * _WIDE, 2)), joiner(range(1, 2 * _WIDE, 2))
_first_half = joiner([lane for k in range(_WIDE // 2) for lane in (k, _WIDE + k)])
_second_half = joiner([lane for k in range(_WIDE // 2, _WIDE) for lane in (k, _WIDE + k)])


def kaiser_low_pass(edge: float, stop: float, rate: float, attenuation: float) -> Array:
    """Kaiser-windowed sinc, flat to `edge` and `attenuation` dB down from `stop`, all in Hz of `rate`.

    Returns the right half of an odd symmetric filter, (m + 1,), centre first, gain 1 at 0 Hz. Kaiser's own
    formulae for length and beta.
    """
    width = 2.0 * math.pi * (stop - edge) / rate
    m = math.ceil((attenuation - 7.95) / (2.285 * width) / 2.0)
    beta = 0.1102 * (attenuation - 8.7)
    k = np.arange(m + 1)
    cut = (edge + stop) / rate
    half: Array = cut * np.sinc(cut * k) * np.kaiser(2 * m + 1, beta)[m:]
    return half / (half[0] + 2.0 * half[1:].sum())


def half_band(edge: float, rate: float, attenuation: float) -> Array:
    """Design a Kaiser-windowed half-band filter: flat to `edge`, down from rate / 2 - edge, gain 1/2 at rate / 4.

    Returns the right half, (m + 1,), centre first. Every other tap but the centre is zero; the rest add up to what
    the centre is, 1/2, so that the gain is 1 at 0 Hz and 0 at rate / 2, which folds down upon 0 Hz.
    """
    half = kaiser_low_pass(edge, rate / 2.0 - edge, rate, attenuation)
    half[0], half[2::2] = 0.5, 0.0
    half[1::2] *= 0.25 / half[1::2].sum()
    return half


def in_turn(half: Array, other: Array) -> Array:
    """Return the right half of the filter that does what two symmetric ones of a rate do, one after the other."""
    return np.convolve(mirrored(half), mirrored(other))[len(half) + len(other) - 2 :]


def zero_phase(half: Array, frequency: Array, rate: float) -> Array:
    """Real gain of a symmetric filter given as its right half, at `frequency` in Hz."""
    k = np.arange(len(half))
    weights = np.where(k == 0, 1.0, 2.0) * half
    gain: Array = np.cos(2.0 * np.pi * np.outer(np.asarray(frequency) / rate, k)) @ weights
    return gain


@kernel
def _arranged_eight(row: Waves, at: int, arranged: Waves, step: int) -> Any:
    """Return eight vectors of sums from index `at` on, over the rows of `arranged` in order, `step` samples apart."""
    s0 = s1 = s2 = s3 = s4 = s5 = s6 = s7 = _splat(np.float32(0.0))
    for j in range(arranged.shape[0] // _WIDE):
        taps, k = _load(arranged, _WIDE * j), at + step * j
        s0, s1 = s0 + taps * _each(row, k), s1 + taps * _each(row, k + 16)
        s2, s3 = s2 + taps * _each(row, k + 32), s3 + taps * _each(row, k + 48)
        s4, s5 = s4 + taps * _each(row, k + 64), s5 + taps * _each(row, k + 80)
        s6, s7 = s6 + taps * _each(row, k + 96), s7 + taps * _each(row, k + 112)
    return s0, s1, s2, s3, s4, s5, s6, s7


@kernel
def _arranged_four(row: Waves, at: int, arranged: Waves, step: int) -> Any:
    """Return four such vectors."""
    s0 = s1 = s2 = s3 = _splat(np.float32(0.0))
    for j in range(arranged.shape[0] // _WIDE):
        taps, k = _load(arranged, _WIDE * j), at + step * j
        s0, s1 = s0 + taps * _each(row, k), s1 + taps * _each(row, k + 16)
        s2, s3 = s2 + taps * _each(row, k + 32), s3 + taps * _each(row, k + 48)
    return s0, s1, s2, s3


_arranged = _arranged_eight if AVX512 else _arranged_four


@kernel
def convolve(x: Waves, at: int, rising: Waves, falling: Waves, out: Waves, to: int, count: int) -> None:
    """Set out[c, to + i] to the sum over j of taps[j] * x[c, at + i + j], taps as `arrange` returns them.

    For i in [0, count), and up to CHUNK - 1 more that mean nothing: x and out must have room for them.
    """
    far = (rising.shape[0] + falling.shape[0]) // _WIDE - _WIDE
    for c in range(x.shape[0]):
        row, sums = x[c], out[c]
        for i in range(0, count, _WIDE * AT_ONCE):
            a, b = _arranged(row, at + i, rising, index(1)), _arranged(row, at + i + far, falling, index(-1))
            for k in range(AT_ONCE):
                store(sums, to + i + _WIDE * k, a[k] + b[k])


@kernel
def _straight_eight(row: Waves, at: int, taps: Waves, sums: Any) -> Any:
    """Add to eight vectors of sums from index `at` on, over all taps."""
    s0, s1, s2, s3, s4, s5, s6, s7 = sums
    for j in range(taps.shape[0]):
        tap, k = _each(taps, j), at + j
        s0, s1 = s0 + tap * _load(row, k), s1 + tap * _load(row, k + 16)
        s2, s3 = s2 + tap * _load(row, k + 32), s3 + tap * _load(row, k + 48)
        s4, s5 = s4 + tap * _load(row, k + 64), s5 + tap * _load(row, k + 80)
        s6, s7 = s6 + tap * _load(row, k + 96), s7 + tap * _load(row, k + 112)
    return s0, s1, s2, s3, s4, s5, s6, s7


@kernel
def _straight_four(row: Waves, at: int, taps: Waves, sums: Any) -> Any:
    """Add to the first four of them."""
    s0, s1, s2, s3 = sums
    for j in range(taps.shape[0]):
        tap, k = _each(taps, j), at + j
        s0, s1 = s0 + tap * _load(row, k), s1 + tap * _load(row, k + 16)
        s2, s3 = s2 + tap * _load(row, k + 32), s3 + tap * _load(row, k + 48)
    return s0, s1, s2, s3


@kernel
def _eight_zeros() -> Any:
    """Return eight vectors of zeros."""
    zero = _splat(np.float32(0.0))
    return zero, zero, zero, zero, zero, zero, zero, zero


@kernel
def _four_zeros() -> Any:
    """Return four vectors of zeros."""
    zero = _splat(np.float32(0.0))
    return zero, zero, zero, zero


_straight, _zeros = (_straight_eight, _eight_zeros) if AVX512 else (_straight_four, _four_zeros)


@kernel
def halve(even: Waves, odd: Waves, at_even: int, at_odd: int, centre: Waves, taps: Waves, out: Waves, to: int,
    count: int) -> None:  # fmt: skip
    """Set out[c, to + i] to an even frame from an index on times `centre` (1,), and odd ones from one on times taps.

    For i in [0, count), and up to CHUNK - 1 more that mean nothing. A few taps are multiplied as they are: arranged as
    for `convolve` they would be three times as many.
    """
    for c in range(2):
        first, second, row = even[c], odd[c], out[c]
        for i in range(0, count, _WIDE * AT_ONCE):
            sums = _straight(second, at_odd + i, taps, _straight(first, at_even + i, centre, _zeros()))
            for k in range(AT_ONCE):
                store(row, to + i + _WIDE * k, sums[k])


def arrange(taps: Array) -> tuple[Waves, Waves]:
    """Arrange taps for `convolve`: for each sample that sixteen outputs need, the tap of each output.

    So a sample is fetched once for sixteen sums, and never sixteen samples from across a cache line. The first half
    from its beginning on, the second from its end back: the small ones come first, so that less is rounded away, and
    in the same order for every output.
    """
    half = (len(taps) + 1) // 2
    rising, falling = np.zeros((half + _WIDE - 1, _WIDE)), np.zeros((len(taps) - half + _WIDE - 1, _WIDE))
    for k in range(_WIDE):
        rising[k : k + half, k] = taps[:half]
        falling[_WIDE - 1 - k : len(falling) - k, k] = taps[half:][::-1]
    return rising.astype(np.float32).reshape(-1), falling.astype(np.float32).reshape(-1)


@kernel
def _append(row: Wave, at: int, n: int, buffer: Waves, filled: int) -> None:
    """Put n samples of a channel, from index `at` on, behind the first `filled` of the buffer, as float32."""
    whole = n - n % _WIDE
    for i in range(0, whole, _WIDE):
        store(buffer, filled + i, narrow(_load(row, at + i)))
    for i in range(whole, n):
        buffer[filled + i] = np.float32(row[at + i])


@kernel
def _take_in(left: Wave, right: Wave, at: int, buffer: Waves, filled: int) -> int:
    """Take in the next frames of both channels, at most STEP, from index `at` on; return how many."""
    n = min(STEP, left.shape[0] - at)
    _append(left, at, n, buffer[0], filled)
    _append(right, at, n, buffer[1], filled)
    return n


@kernel
def _forget(buffer: Waves, frames: int, filled: int) -> None:
    """Remove the first frames of a buffer and move the others to its beginning."""
    for c in range(2):
        row = buffer[c]
        for i in range(filled - frames):
            row[i] = row[i + frames]


@kernel
def _deal(row: Wave, at: int, n: int, even: Waves, odd: Waves, filled: int) -> None:
    """Put n samples of a channel, from index `at` on, behind the first `filled` frames dealt out, as float32."""
    i, end = at, at + n
    if filled % 2 == 1 and i < end:
        odd[filled // 2] = np.float32(row[i])
        i += 1
    to = (filled + 1) // 2
    while i + 2 * _WIDE <= end:
        a, b = narrow(_load(row, i)), narrow(_load(row, i + _WIDE))
        store(even, to, _evens(a, b))
        store(odd, to, _odds(a, b))
        i, to = i + 2 * _WIDE, to + _WIDE
    while i < end:
        even[to] = np.float32(row[i])
        if i + 1 < end:
            odd[to] = np.float32(row[i + 1])
        i, to = i + 2, to + 1


@kernel
def interleave(even: Waves, odd: Waves, out: Waves, to: int, count: int) -> None:
    """Put `count` even and as many odd frames in turn into `out`, from index `to` on."""
    for c in range(2):
        first, second, row = even[c], odd[c], out[c]
        for i in range(0, count, _WIDE):
            a, b = _load(first, i), _load(second, i)
            store(row, to + 2 * i, _first_half(a, b))
            store(row, to + 2 * i + _WIDE, _second_half(a, b))


# -- streams: samples come in, wait for those after them, and go out filtered --------------------------------------


@kernel
def pass_on(
    left: Wave, right: Wave, buffer: Waves, filled: int, back: int, rising: Waves, falling: Waves, out: Waves
) -> int:  # fmt: skip
    """Filter two channels at their own rate into `out` (2, ...); return how many frames came out.

    `buffer` begins with `filled` frames that wait; `back` of them are still needed when those after them are there.
    """
    at, done = 0, 0
    while at < left.shape[0]:
        n = _take_in(left, right, at, buffer, filled)
        at, filled = at + n, filled + n
        ready = filled - back
        if ready > 0:
            convolve(buffer, index(0), rising, falling, out, done, ready)
            _forget(buffer, ready, filled)
            filled, done = filled - ready, done + ready
    return done


@kernel
def double(
    left: Wave, right: Wave, buffer: Waves, filled: int, back: int, at_on: int, on_rising: Waves, on_falling: Waves,
    on: Waves, at_between: int, rising: Waves, falling: Waves, between: Waves, out: Waves,
) -> int:  # fmt: skip
    """Filter as `pass_on` does at twice the rate; return how many frames became two."""
    at, done = 0, 0
    while at < left.shape[0]:
        n = _take_in(left, right, at, buffer, filled)
        at, filled = at + n, filled + n
        ready = filled - back
        if ready > 0:
            convolve(buffer, at_on, on_rising, on_falling, on, index(0), ready)
            convolve(buffer, at_between, rising, falling, between, index(0), ready)
            interleave(on, between, out, 2 * done, ready)
            _forget(buffer, ready, filled)
            filled, done = filled - ready, done + ready
    return done


@kernel
def thin(
    left: Wave, right: Wave, even: Waves, odd: Waves, filled: int, back: int, at_even: int, at_odd: int, centre: Waves,
    taps: Waves, out: Waves,
) -> int:  # fmt: skip
    """Filter as `pass_on` does at half the rate; return how many frames came out, each of two.

    `even` and `odd` hold the frames that wait, dealt out.
    """
    at, done = 0, 0
    while at < left.shape[0]:
        n = min(STEP, left.shape[0] - at)
        _deal(left, at, n, even[0], odd[0], filled)
        _deal(right, at, n, even[1], odd[1], filled)
        at, filled = at + n, filled + n
        ready = (filled - back) // 2
        if ready > 0:
            halve(even, odd, at_even, at_odd, centre, taps, out, done, ready)
            _forget(even, ready, (filled + 1) // 2)
            _forget(odd, ready, filled // 2)
            filled, done = filled - 2 * ready, done + ready
    return done


def mirrored(half: Array) -> Array:
    """Return all taps of a symmetric filter, from the half that begins at its centre."""
    return np.concatenate([half[:0:-1], half])


def _rows(frames: int) -> Waves:
    """Return two rows with room for `frames` and for whole vectors behind them."""
    rows: Waves = room(2, frames + 4 * CHUNK, np.float32)
    return rows


class _Stream:
    """Buffer of the frames that wait between two calls, and of those that are ready."""

    def __init__(self, reach: int) -> None:
        self.reach = reach
        self._filled, self._back = reach, 2 * reach
        self._buffer, self._out = _rows(2 * reach + 2 + STEP), _rows(0)

    def _room(self, frames: int) -> Waves:
        """Return rows for the output, the old ones where they are long enough."""
        if self._out.shape[1] < frames + 2 * CHUNK:
            self._out = _rows(frames + frames // 8)
        return self._out

    def _ready(self, x: NDArray[Any]) -> int:
        """Return how many frames can be filtered once x (2, n) is in the buffer."""
        return max(0, self._filled + x.shape[1] - self._back)


class Same(_Stream):
    """Runs a symmetric filter at its own rate, two channels; the last `reach` frames wait in the buffer."""

    def __init__(self, half: Array) -> None:
        super().__init__(len(half) - 1)
        self._taps = arrange(mirrored(half))

    def push(self, x: NDArray[Any]) -> Waves:
        """Filter the next frames, (2, n); return those that are ready, (2, m), valid until the next call."""
        out = self._room(self._ready(x))
        left, right = read_only(x)
        n = pass_on(left, right, self._buffer, self._filled, self._back, *self._taps, out)
        self._filled += x.shape[1] - n
        return out[:, :n]


class Doubler(_Stream):
    """Doubles the rate with a symmetric low-pass designed at the doubled rate.

    Each phase is given the gain 1 at 0 Hz, which is a double zero at half the new rate: the image of bass would
    else be negligible as displacement and dominant as acceleration, which grows with frequency squared.
    """

    def __init__(self, half: Array) -> None:
        super().__init__((len(half) + 1) // 2)
        even, odd = mirrored(half[0::2]), np.concatenate([half[1::2][::-1], half[1::2]])
        self._on = self.reach - len(even) // 2, *arrange(even / even.sum()), _rows(self._back + STEP)
        self._between = self.reach - (len(odd) // 2 - 1), *arrange(odd / odd.sum()), _rows(self._back + STEP)

    def push(self, x: NDArray[Any]) -> Waves:
        """Filter the next frames, (2, n); return two for each that is ready, valid until the next call."""
        out = self._room(2 * self._ready(x))
        left, right = read_only(x)
        n = double(left, right, self._buffer, self._filled, self._back, *self._on, *self._between, out)
        self._filled += x.shape[1] - n
        return out[:, : 2 * n]


class Halver(_Stream):
    """Halves the rate behind a half-band filter designed at the full rate, see `half_band`."""

    def __init__(self, half: Array) -> None:
        super().__init__(len(half) - 1 + (len(half) - 1) % 2)
        odd = np.concatenate([half[1::2][::-1], half[1::2]])
        middle = self.reach // 2
        self._dealt = _rows(self.reach + 1 + STEP // 2), _rows(self.reach + 1 + STEP // 2)
        self._first = middle, middle - len(odd) // 2
        self._taps = half[:1].astype(np.float32), odd.astype(np.float32)

    def push(self, x: NDArray[Any]) -> Waves:
        """Filter the next frames, (2, n); return one for each two that are ready, valid until the next call."""
        out = self._room(self._ready(x) // 2)
        left, right = read_only(x)
        n = thin(left, right, *self._dealt, self._filled, self._back, *self._first, *self._taps, out)
        self._filled += x.shape[1] - 2 * n
        return out[:, :n]
