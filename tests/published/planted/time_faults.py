"""Faults in time, planted in music: each returns new samples, (2, frames), and the start and end of the fault in s."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from support.planted_faults import Place, PlantedFault

Array = NDArray[np.float64]

TICK_S = 0.0002


def click(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Add a single sample of `strength` dBFS to both channels."""
    return _added(samples, rate, strength, seed, 1)


def tick(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Add a rectangle of 0.2 ms and `strength` dBFS to both channels."""
    return _added(samples, rate, strength, seed, round(TICK_S * rate))


def dropout(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Lower both channels by `strength` dB for 120 ms, at once."""
    return _lowered(samples, rate, 10.0 ** (-strength / 20.0), seed, round(0.12 * rate))


def short_dropout(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Silence both channels for `strength` ms."""
    return _lowered(samples, rate, 0.0, seed, round(1e-3 * strength * rate))


def twice(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Play `strength` ms again, which delays the rest."""
    return _again(samples, rate, 1e-3 * strength, seed)


def noisy_twice(samples: Array, rate: int, strength: float, seed: int) -> tuple[Array, Place]:
    """Play 50 ms again, and add white noise of `strength` dBFS rms to all."""
    faulty, place = _again(samples, rate, 0.05, seed)
    noise = np.random.default_rng(seed).standard_normal(faulty.shape)
    return faulty + 10.0 ** (strength / 20.0) * noise, place


def _again(samples: Array, rate: int, seconds: float, seed: int) -> tuple[Array, Place]:
    at, frames = _somewhere(samples, rate, seed), round(seconds * rate)
    faulty = np.concatenate([samples[:, :at], samples[:, at - frames : at], samples[:, at:]], axis=1)
    return faulty, (at / rate, at / rate + seconds)


def _lowered(samples: Array, rate: int, gain: float, seed: int, length: int) -> tuple[Array, Place]:
    at = _somewhere(samples, rate, seed, length)
    faulty = samples.copy()
    faulty[:, at : at + length] *= gain
    return faulty, (at / rate, (at + length) / rate)


def _added(samples: Array, rate: int, strength: float, seed: int, length: int) -> tuple[Array, Place]:
    at = _somewhere(samples, rate, seed)
    faulty = samples.copy()
    faulty[:, at : at + length] += 10.0 ** (strength / 20.0)
    return faulty, (at / rate, (at + length) / rate)


def _somewhere(samples: Array, rate: int, seed: int, length: int = 0) -> int:
    """Return a frame that lies 1 s or more from both ends, where the music is no more than 30 dB below its mean.

    It is so before the frame and after a fault of `length` frames, too: the fault lies within music.
    """
    random, mean = np.random.default_rng(seed), float(np.mean(samples**2))
    width = rate // 20
    for _ in range(2000):
        at = int(random.integers(rate, samples.shape[1] - rate - length))
        near = samples[:, at - width : at], samples[:, at + length : at + length + width]
        if all(float(np.mean(side**2)) > 1e-3 * mean for side in near):
            return at
    raise ValueError("the music is silent nearly everywhere")


LEVELS = tuple(float(level) for level in range(-60, -5, 6))
FAULTS = [
    PlantedFault("a single sample", "programme.click", LEVELS, "dBFS", click),
    PlantedFault("a tick of 0.2 ms", "programme.click", LEVELS, "dBFS", tick),
    PlantedFault(
        "a fall for 120 ms",
        "programme.dropout",
        (3.0, 6.0, 9.0, 10.0, 11.0, 12.0, 15.0, 20.0, 30.0, 60.0),
        "dB",
        dropout,
    ),
    PlantedFault(
        "a hole", "programme.dropout", (1.0, 2.0, 3.0, 4.0, 5.0, 10.0, 30.0, 100.0, 300.0, 2500.0), "ms", short_dropout
    ),
    PlantedFault(
        "a stretch that comes twice",
        "programme.repeated-or-skipped",
        (1.0, 2.0, 5.0, 7.0, 10.0, 20.0, 30.0, 50.0, 100.0, 200.0),
        "ms",
        twice,
    ),
    PlantedFault(
        "50 ms that come twice, by noise added to all",
        "programme.repeated-or-skipped",
        (-50.0, -56.0, -62.0, -68.0, -74.0, -80.0, -86.0, -92.0, -100.0, -120.0),
        "dBFS",
        noisy_twice,
    ),
]
