"""Faults in time, planted in music: each returns new samples, (2, frames), and the start and end of the fault in s."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Place = tuple[float, float]

TICK_S = 0.0002


def click(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Add a single sample of `strength` dBFS to both channels."""
    return _added(samples, rate, strength, seed, 1)


def tick(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Add a rectangle of 0.2 ms and `strength` dBFS to both channels."""
    return _added(samples, rate, strength, seed, round(TICK_S * rate))


def _added(samples: Array, rate: int, strength: float, seed: int, length: int) -> tuple[Array, Place]:
    at = _somewhere(samples, rate, seed)
    faulty = samples.copy()
    faulty[:, at : at + length] += 10.0 ** (strength / 20.0)
    return faulty, (at / rate, (at + length) / rate)


def _somewhere(samples: Array, rate: int, seed: int) -> int:
    """Return a frame that lies 1 s or more from both ends, where the music is no more than 30 dB below its mean."""
    random, mean = np.random.default_rng(seed), float(np.mean(samples**2))
    for _ in range(200):
        at = int(random.integers(rate, samples.shape[1] - rate))
        near = samples[:, at - rate // 20 : at + rate // 20]
        if float(np.mean(near**2)) > 1e-3 * mean:
            return at
    raise ValueError("the music is silent nearly everywhere")
