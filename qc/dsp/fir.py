"""Linear-phase FIR filters: designs in closed form, and streams that pass, double or halve the rate.

One kernel serves all: every symmetric filter, each phase of an interpolator and each half of a decimator is a sum
of weighted pairs of samples that lie mirrored about a point. Delays are taken out: output 0 lies at input 0.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.dsp.jit import kernel

Array = NDArray[np.float64]
_CHUNK = 1024


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
def pairs(x: Array, left: int, right: int, h: Array, out: Array, add: bool) -> None:
    """Set (or with `add` raise) out[c, i] by the sum over k of h[k] * (x[c, i+left-k] + x[c, i+right+k])."""
    taps = h.shape[0]
    for c in range(x.shape[0]):
        for start in range(0, out.shape[1], _CHUNK):
            n = min(_CHUNK, out.shape[1] - start)
            y = out[c, start : start + n]
            if not add:
                y[:] = 0.0
            k = 0
            while k + 3 < taps:  # four pairs a walk, so that y is loaded and stored a quarter as often
                h0, h1, h2, h3 = h[k], h[k + 1], h[k + 2], h[k + 3]
                a, b = x[c, start + left - k - 3 :], x[c, start + right + k :]
                for i in range(n):
                    y[i] += (
                        h0 * (a[i + 3] + b[i])
                        + h1 * (a[i + 2] + b[i + 1])
                        + (h2 * (a[i + 1] + b[i + 2]) + h3 * (a[i] + b[i + 3]))
                    )
                k += 4
            while k < taps:
                a, b = x[c, start + left - k :], x[c, start + right + k :]
                for i in range(n):
                    y[i] += h[k] * (a[i] + b[i])
                k += 1


def _centred(half: Array) -> Array:
    """Halve the middle tap, since `pairs` counts it from both sides."""
    taps = half.copy()
    taps[0] *= 0.5
    return taps


class Same:
    """Runs a symmetric filter at its own rate, two channels. `reach` frames are held back."""

    def __init__(self, half: Array) -> None:
        self.reach = len(half) - 1
        self._taps = _centred(half)
        self._held = np.zeros((2, self.reach))

    def push(self, x: Array) -> Array:
        """Take (2, n), give what is ready, (2, m)."""
        self._held = np.concatenate([self._held, x], axis=1)
        n = max(0, self._held.shape[1] - 2 * self.reach)
        out = np.empty((2, n))
        if n:
            pairs(self._held, self.reach, self.reach, self._taps, out, False)
            self._held = self._held[:, n:]
        return out


class Doubler:
    """Doubles the rate with a symmetric low-pass designed at the doubled rate.

    Each phase is given the gain 1 at 0 Hz, which is a double zero at half the new rate: the image of bass would
    else be nothing as displacement and everything as acceleration, which weighs it by frequency squared.
    """

    def __init__(self, half: Array) -> None:
        self.reach = (len(half) + 1) // 2
        even, odd = _centred(half[0::2]), np.ascontiguousarray(half[1::2])
        self._even, self._odd = 0.5 * even / even.sum(), 0.5 * odd / odd.sum()
        self._held = np.zeros((2, self.reach))

    def push(self, x: Array) -> Array:
        """Take (2, n), give what is ready, two frames for one."""
        self._held = np.concatenate([self._held, x], axis=1)
        n = max(0, self._held.shape[1] - 2 * self.reach)
        out = np.empty((2, 2 * n))
        if n:
            phase = np.empty((2, n))
            pairs(self._held, self.reach, self.reach, self._even, phase, False)
            out[:, 0::2] = phase
            pairs(self._held, self.reach, self.reach + 1, self._odd, phase, False)
            out[:, 1::2] = phase
            self._held = self._held[:, n:]
        return out


class Halver:
    """Halves the rate behind a short symmetric low-pass designed at the full rate."""

    def __init__(self, half: Array) -> None:
        self.reach = len(half) - 1 + (len(half) - 1) % 2
        self._even = _centred(half[0::2])
        self._odd = np.ascontiguousarray(half[1::2])
        self._held = np.zeros((2, self.reach))

    def push(self, x: Array) -> Array:
        """Take (2, n), give what is ready, one frame for two."""
        self._held = np.concatenate([self._held, x], axis=1)
        n = max(0, self._held.shape[1] - 2 * self.reach) // 2
        out = np.empty((2, n))
        if n:
            even = np.ascontiguousarray(self._held[:, 0::2])
            odd = np.ascontiguousarray(self._held[:, 1::2])
            middle = self.reach // 2
            pairs(even, middle, middle, self._even, out, False)
            pairs(odd, middle - 1, middle, self._odd, out, True)
            self._held = self._held[:, 2 * n :]
        return out
