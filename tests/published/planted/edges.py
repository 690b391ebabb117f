"""Faults at the edges of music, planted at strengths from 1 to 10; each returns the samples and the fault's second.

Music is (2, frames) of some seconds at its own level; half a second of silence is put before and behind it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MARGIN_S = 0.5


def hard_start(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, float]:
    """Cut into the music at a random frame, with a fade-in of 20 ms at strength 1, halved by each step, none at 10."""
    rng = np.random.default_rng(seed)
    first = int(rng.integers(samples.shape[1] // 2))
    x = samples[:, first:].copy()
    fade = 0 if strength >= 10.0 else round(0.02 * 2.0 ** (1.0 - strength) * rate)
    x[:, :fade] *= np.arange(fade) / max(1, fade)
    return _framed(x, rate), MARGIN_S


def hard_end(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, float]:
    """Cut the music off at a random frame, with a fade-out of 20 ms at strength 1, halved by each step, none at 10."""
    x, _ = hard_start(samples[:, ::-1], rate, strength, seed)
    return np.ascontiguousarray(x[:, ::-1]), (x.shape[1] / rate) - MARGIN_S


def fade_cut_off(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, float]:
    """Fade the last 5 s by 60 dB at strength 1, by 3 dB less a step, and break off there, at a random frame."""
    rng = np.random.default_rng(seed)
    stop = samples.shape[1] - int(rng.integers(samples.shape[1] // 4))
    x, frames = samples[:, :stop].copy(), min(stop, 5 * rate)
    x[:, stop - frames :] *= 10.0 ** (-(60.0 - 3.0 * (strength - 1.0)) * np.linspace(0.0, 1.0, frames) / 20.0)
    return _framed(x, rate), MARGIN_S + stop / rate


def noise_after_end(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, float]:
    """Fade the music out and leave 3 s of white hiss, -82 dBFS at strength 1 and 3 dB more a step."""
    rng = np.random.default_rng(seed)
    frames = min(samples.shape[1], 4 * rate)
    x = np.concatenate([samples, np.zeros((2, 3 * rate))], axis=1)
    end = samples.shape[1]
    x[:, end - frames : end] *= np.linspace(1.0, 0.0, frames) ** 3
    x += 10.0 ** ((-82.0 + 3.0 * (strength - 1.0)) / 20.0) * rng.standard_normal(x.shape)
    return _framed(x, rate), MARGIN_S + end / rate


def _framed(x: Array, rate: int) -> Array:
    silence = np.zeros((2, round(MARGIN_S * rate)))
    return np.concatenate([silence, x, silence], axis=1)
