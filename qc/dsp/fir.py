"""Linear-phase FIR filters: designs in closed form, and streams that pass, double or halve the rate.

One kernel serves all: every symmetric filter, each phase of an interpolator and each half of a decimator is a sum
of weighted pairs of samples that lie mirrored about a point. Delays are taken out: output 0 lies at input 0.

Samples and sums are float32, sixteen outputs in a vector: 24 bits of the programme at its own level, before anything
is integrated or differentiated, and twice as fast as float64. Recursive filters must not be.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel
from qc.dsp.lanes import joiner, loader, narrow, splatter, store

Array = NDArray[np.float64]
Waves = NDArray[np.float32]

CHUNK = 64
"""Outputs that are worked out at once: four vectors, so that sums need not wait for each other."""
_WIDE = 16
_load, _splat, _load_double = loader(_WIDE), splatter(_WIDE), loader(_WIDE)
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


def zero_phase(half: Array, frequency: Array, rate: float) -> Array:
    """Real gain of a symmetric filter given as its right half, at `frequency` in Hz."""
    k = np.arange(len(half))
    weights = np.where(k == 0, 1.0, 2.0) * half
    gain: Array = np.cos(2.0 * np.pi * np.outer(np.asarray(frequency) / rate, k)) @ weights
    return gain


@kernel
def pairs(x: Waves, left: int, right: int, taps: Waves, out: Waves, count: int, add: bool) -> None:
    """Set (or with `add` raise) out[c, i] by the sum over k of taps[k] * (x[c, i+left-k] + x[c, i+right+k]).

    For i in [0, count), and up to CHUNK - 1 more that mean nothing: x and out must have room for them.
    """
    for c in range(x.shape[0]):
        row, to = x[c], out[c]
        for i in range(0, count, CHUNK):
            s0 = s1 = s2 = s3 = _splat(np.float32(0.0))
            if add:
                s0, s1, s2, s3 = _load(to, i), _load(to, i + 16), _load(to, i + 32), _load(to, i + 48)
            for k in range(taps.shape[0] - 1, -1, -1):  # the small ones first: less is rounded away
                tap, a, b = _splat(taps[k]), i + left - k, i + right + k
                s0 = s0 + tap * (_load(row, a) + _load(row, b))
                s1 = s1 + tap * (_load(row, a + 16) + _load(row, b + 16))
                s2 = s2 + tap * (_load(row, a + 32) + _load(row, b + 32))
                s3 = s3 + tap * (_load(row, a + 48) + _load(row, b + 48))
            store(to, i, s0)
            store(to, i + 16, s1)
            store(to, i + 32, s2)
            store(to, i + 48, s3)


@kernel
def append(x: Array, held: Waves, at: int) -> None:
    """Put x (2, n) behind the first `at` frames of `held`, as float32."""
    for c in range(2):
        row, to, n = x[c], held[c], x.shape[1]
        whole = n - n % _WIDE
        for i in range(0, whole, _WIDE):
            store(to, at + i, narrow(_load_double(row, i)))
        for i in range(whole, n):
            to[at + i] = np.float32(row[i])


@kernel
def deal(x: Waves, even: Waves, odd: Waves, count: int) -> None:
    """Deal `count` pairs of neighbours of x (2, ...) out to `even` and `odd`, a vector more than asked at most."""
    for c in range(2):
        row, first, second = x[c], even[c], odd[c]
        for i in range(0, count, _WIDE):
            a, b = _load(row, 2 * i), _load(row, 2 * i + _WIDE)
            store(first, i, _evens(a, b))
            store(second, i, _odds(a, b))


@kernel
def interleave(even: Waves, odd: Waves, out: Waves, count: int) -> None:
    """Undo `deal`."""
    for c in range(2):
        first, second, to = even[c], odd[c], out[c]
        for i in range(0, count, _WIDE):
            a, b = _load(first, i), _load(second, i)
            store(to, 2 * i, _first_half(a, b))
            store(to, 2 * i + _WIDE, _second_half(a, b))


def _centred(half: Array) -> Waves:
    """Halve the middle tap, since `pairs` counts it from both sides."""
    taps = half.astype(np.float32)
    taps[0] *= np.float32(0.5)
    return taps


class _Joint:
    """Frames that wait for those after them, joined with what comes next; room for whole vectors behind them."""

    def __init__(self, frames: int) -> None:
        self.filled = frames
        self.held: Waves = np.zeros((2, 4 * CHUNK + frames), np.float32)

    def add(self, x: NDArray[Any]) -> None:
        """Put (2, n) behind what is held."""
        room = self.filled + x.shape[1] + 4 * CHUNK
        if room > self.held.shape[1]:
            grown = np.zeros((2, room + room // 8), np.float32)
            grown[:, : self.filled] = self.held[:, : self.filled]
            self.held = grown
        if x.dtype == np.float64 and x.flags.c_contiguous:
            append(x, self.held, self.filled)
        else:
            self.held[:, self.filled : self.filled + x.shape[1]] = x
        self.filled += x.shape[1]

    def drop(self, frames: int) -> None:
        """Forget the first frames."""
        rest = self.filled - frames
        self.held[:, :rest] = self.held[:, frames : self.filled].copy()
        self.filled = rest


def _room(held: Waves | None, frames: int) -> Waves:
    """Give an array of two rows for `frames` and whole vectors behind them, the old one where it is long enough."""
    if held is not None and held.shape[1] >= frames + CHUNK:
        return held
    return np.zeros((2, frames + frames // 8 + CHUNK), np.float32)


class Same:
    """Runs a symmetric filter at its own rate, two channels. `reach` frames are held back."""

    def __init__(self, half: Array) -> None:
        self.reach = len(half) - 1
        self._taps = _centred(half)
        self._joint = _Joint(self.reach)
        self._out = _room(None, 0)

    def push(self, x: NDArray[Any]) -> Waves:
        """Take (2, n), give what is ready, (2, m), good until the next call."""
        self._joint.add(x)
        n = max(0, self._joint.filled - 2 * self.reach)
        self._out = _room(self._out, n)
        if n:
            pairs(self._joint.held, self.reach, self.reach, self._taps, self._out, n, False)
            self._joint.drop(n)
        return self._out[:, :n]


class Doubler:
    """Doubles the rate with a symmetric low-pass designed at the doubled rate.

    Each phase is given the gain 1 at 0 Hz, which is a double zero at half the new rate: the image of bass would
    else be nothing as displacement and everything as acceleration, which weighs it by frequency squared.
    """

    def __init__(self, half: Array) -> None:
        self.reach = (len(half) + 1) // 2
        even, odd = half[0::2].copy(), half[1::2]
        even[0] *= 0.5
        self._even: Waves = (0.5 * even / even.sum()).astype(np.float32)
        self._odd: Waves = (0.5 * odd / odd.sum()).astype(np.float32)
        self._joint = _Joint(self.reach)
        self._on, self._between, self._out = _room(None, 0), _room(None, 0), _room(None, 0)

    def push(self, x: NDArray[Any]) -> Waves:
        """Take (2, n), give what is ready, two frames for one, good until the next call."""
        self._joint.add(x)
        n = max(0, self._joint.filled - 2 * self.reach)
        self._on, self._between = _room(self._on, n), _room(self._between, n)
        self._out = _room(self._out, 2 * n)
        if n:
            pairs(self._joint.held, self.reach, self.reach, self._even, self._on, n, False)
            pairs(self._joint.held, self.reach, self.reach + 1, self._odd, self._between, n, False)
            interleave(self._on, self._between, self._out, n)
            self._joint.drop(n)
        return self._out[:, : 2 * n]


class Halver:
    """Halves the rate behind a short symmetric low-pass designed at the full rate."""

    def __init__(self, half: Array) -> None:
        self.reach = len(half) - 1 + (len(half) - 1) % 2
        self._even = _centred(half[0::2])
        self._odd = half[1::2].astype(np.float32)
        self._joint = _Joint(self.reach)
        self._evens, self._odds, self._out = _room(None, 0), _room(None, 0), _room(None, 0)

    def push(self, x: NDArray[Any]) -> Waves:
        """Take (2, n), give what is ready, one frame for two, good until the next call."""
        self._joint.add(x)
        n = max(0, self._joint.filled - 2 * self.reach) // 2
        room = self._joint.filled // 2 + CHUNK
        self._evens, self._odds, self._out = _room(self._evens, room), _room(self._odds, room), _room(self._out, n)
        if n:
            deal(self._joint.held, self._evens, self._odds, self._joint.filled // 2 + 1)
            middle = self.reach // 2
            pairs(self._evens, middle, middle, self._even, self._out, n, False)
            pairs(self._odds, middle - 1, middle, self._odd, self._out, n, True)
            self._joint.drop(2 * n)
        return self._out[:, :n]
