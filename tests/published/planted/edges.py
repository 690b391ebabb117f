"""Faults at the ends of a side, planted in music that has silence before and behind it."""

from __future__ import annotations

import numpy as np

from support.planted_faults import Place, PlantedFault, Samples

FADES_MS = (20.0, 10.0, 5.0, 2.5, 1.2, 0.6, 0.3, 0.15, 0.08, 0.0)
SOUND = 0.01
"""Magnitude of what counts as music here: -40 dBFS."""


def _heard(samples: Samples) -> tuple[int, int]:
    """Return the first and the last frame with music."""
    (there,) = np.nonzero(np.abs(samples).max(axis=0) > SOUND)
    return int(there[0]), int(there[-1])


def hard_start(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Cut into the first second of the music at a random frame, with a fade-in of `strength` ms."""
    first = _heard(samples)[0] + int(np.random.default_rng(seed).uniform(0.2, 0.8) * rate)
    x, fade = samples.copy(), round(1e-3 * strength * rate)
    x[:, :first] = 0.0
    x[:, first : first + fade] *= np.arange(fade) / max(1, fade)
    return x, (first / rate, first / rate + 0.01)


def hard_end(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Cut the last second of the music off at a random frame, with a fade-out of `strength` ms."""
    x, (start, _) = hard_start(samples[:, ::-1], rate, strength, seed)
    end = samples.shape[1] / rate - start
    return np.ascontiguousarray(x[:, ::-1]), (end - 0.01, end)


def fade_cut_off(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Fade the last 4 s of the music by `strength` dB and break off there, at a random frame."""
    end = _heard(samples)[1] - int(np.random.default_rng(seed).uniform(0.2, 0.8) * rate)
    x = samples.copy()
    frames = min(end, 4 * rate)
    x[:, end - frames : end] *= 10.0 ** (-strength * np.linspace(0.0, 1.0, frames) / 20.0)
    x[:, end:] = 0.0
    return x, (end / rate - 0.01, end / rate)


def noise_after_end(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Add white hiss of `strength` dBFS from the last half of the music to 2 s after it."""
    rng = np.random.default_rng(seed)
    end = min(samples.shape[1], _heard(samples)[1] + 3 * rate)
    x = samples.copy()
    x[:, end // 2 : end] += 10.0 ** (strength / 20.0) * rng.standard_normal((2, end - end // 2))
    return x, (end / rate - 1.5, end / rate)


FAULTS = (
    PlantedFault("a start that is cut into, by its fade", "programme.hard-start", FADES_MS, "ms", hard_start),
    PlantedFault("an end that is cut off, by its fade", "programme.hard-end", FADES_MS, "ms", hard_end),
    PlantedFault(
        "a fade that breaks off, by its depth", "programme.fade-cut-off",
        (60.0, 57.0, 54.0, 51.0, 48.0, 45.0, 42.0, 39.0, 36.0, 33.0), "dB", fade_cut_off,
    ),
    PlantedFault(
        "hiss behind the last note", "programme.noise-after-end",
        (-82.0, -79.0, -76.0, -73.0, -70.0, -67.0, -64.0, -61.0, -58.0, -55.0), "dBFS", noise_after_end,
    ),
)  # fmt: skip
