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


def _at_full_level(samples: Samples, rate: int, seed: int) -> int:
    """Return a random frame of the first 4 s of the music whose next millisecond is at full level.

    Full level is that of the music's 10 s, less 6 dB.
    """
    start, cell = _heard(samples)[0], max(1, rate // 1000)
    begin = start + rate // 5
    power = np.square(samples[:, begin : begin + 4000 * cell]).mean(axis=0).reshape(-1, cell).mean(axis=1)
    music = np.square(samples[:, start : start + 10 * rate]).mean()
    (full,) = np.nonzero(power >= music / 4.0)
    rng = np.random.default_rng(seed)
    return begin + int(rng.choice(full)) * cell + int(rng.integers(cell // 8 + 1))


def hard_start(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Cut into the music at a random frame where it is at full level, with a fade-in of `strength` ms."""
    first = _at_full_level(samples, rate, seed)
    x, fade = samples.copy(), round(1e-3 * strength * rate)
    x[:, :first] = 0.0
    x[:, first : first + fade] *= np.arange(fade) / max(1, fade)
    return x, (first / rate, first / rate + 0.01)


def hard_end(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Cut the music off at a random frame of its last 4 s at full level, with a fade-out of `strength` ms."""
    x, (start, _) = hard_start(samples[:, ::-1], rate, strength, seed)
    end = samples.shape[1] / rate - start
    return np.ascontiguousarray(x[:, ::-1]), (end - 0.01, end)


def fade_cut_off(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Fade 4 s of the music so that it breaks off at `strength` dBFS, the rms of 20 ms, where it was at full level."""
    end = samples.shape[1] - _at_full_level(samples[:, ::-1], rate, seed)
    level = 10.0 * np.log10(np.square(samples[:, end - rate // 50 : end]).mean())
    x, frames = samples.copy(), min(end, 4 * rate)
    x[:, end - frames : end] *= 10.0 ** ((strength - level) * np.linspace(0.0, 1.0, frames) / 20.0)
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
        "a fade that breaks off, by its level", "programme.fade-cut-off",
        (-72.0, -69.0, -66.0, -63.0, -60.0, -57.0, -54.0, -51.0, -48.0, -45.0), "dBFS", fade_cut_off,
    ),
    PlantedFault(
        "hiss behind the last note", "programme.noise-after-end",
        (-82.0, -79.0, -76.0, -73.0, -70.0, -67.0, -64.0, -61.0, -58.0, -55.0), "dBFS", noise_after_end,
    ),
)  # fmt: skip
