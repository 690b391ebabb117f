"""Test signals with closed forms: tones, swells, bursts, sweeps, pink noise, silence, two channels each.

Every function gives float64 samples of shape (2, frames), full scale 1.0, of `round(seconds * rate)` frames, and the
same ones each time. `channels` says how one signal comes into the two: "both" the same in both, which moves the
cutter sideways; "opposed" with the right one turned round, which moves it up and down; "left" or "right" in that
channel alone, which moves one wall.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.testing.channels import Channels

Array = NDArray[np.float64]

LANES: dict[Channels, tuple[float, float]] = {
    "both": (1.0, 1.0),
    "opposed": (1.0, -1.0),
    "left": (1.0, 0.0),
    "right": (0.0, 1.0),
}
"""Gains of the left and the right channel."""


def placed(signal: Array, channels: Channels = "both") -> Array:
    """Place a signal (frames,) in two channels, (2, frames)."""
    return np.outer(np.array(LANES[channels]), signal)


def silence(seconds: float, rate: int) -> Array:
    """Digital silence."""
    return np.zeros((2, round(seconds * rate)))


def sine(
    hz: float, seconds: float, rate: int, peak: float, *, channels: Channels = "both", fade_s: float = 0.0,
    phase: float = 0.0,
) -> Array:  # fmt: skip
    """Make a sine that begins at `phase` in rad; its rms is `peak` over root two.

    `fade_s` seconds at each end rise and fall as a raised cosine, so that no click outweighs the tone.
    """
    wave = _time(seconds, rate)
    wave *= 2.0 * np.pi * hz
    wave += phase
    np.sin(wave, out=wave)
    wave *= peak
    wave *= _ends(len(wave), fade_s * rate)
    return placed(wave, channels)


def swell(
    hz: float, seconds: float, rate: int, peak: float, *, channels: Channels = "both", phase: float = 0.0
) -> Array:
    """Make a tone that rises over the first half and falls over the second, as a raised cosine.

    The middle frame is at the phase given, of a cosine: 0 has the greatest sample there. The mean square over all of
    it is 3/16 of `peak` squared.
    """
    frames = round(seconds * rate)
    t = (np.arange(frames) - frames // 2) / rate
    return placed(peak * np.cos(2.0 * np.pi * hz * t + phase) * np.cos(np.pi * t / seconds) ** 2, channels)


def bursts(
    hz: float, seconds: float, rate: int, peak: float, *, on_s: float, every_s: float, channels: Channels = "both",
    fade_s: float = 0.002,
) -> Array:  # fmt: skip
    """Make a sine that sounds for the first `on_s` of every `every_s`, with a raised cosine of `fade_s` at each end.

    Without the fades its mean square is on_s/every_s of half of `peak` squared. Raises ValueError where a burst is
    longer than the time from one to the next.
    """
    if not 0.0 < on_s <= every_s:
        raise ValueError(f"a burst of {on_s:g} s does not fit into {every_s:g} s")
    t = _time(seconds, rate)
    within = t % every_s
    edge = np.clip(np.minimum(within, on_s - within) / max(fade_s, 1.0 / rate), 0.0, 1.0)
    return placed(peak * np.sin(2.0 * np.pi * hz * t) * 0.5 * (1.0 - np.cos(np.pi * edge)), channels)


def sweep(
    from_hz: float, to_hz: float, seconds: float, rate: int, peak: float, *, channels: Channels = "both",
    fade_s: float = 0.0,
) -> Array:  # fmt: skip
    """Make a sine that glides between two frequencies, each octave taking as long as any other.

    At t seconds it is at from_hz (to_hz/from_hz)^(t/seconds).
    """
    t = _time(seconds, rate)
    octaves = np.log(to_hz / from_hz)
    turns = from_hz * t if octaves == 0.0 else from_hz * seconds / octaves * np.expm1(octaves * t / seconds)
    return placed(peak * np.sin(2.0 * np.pi * turns) * _ends(len(t), fade_s * rate), channels)


def pink_noise(
    seconds: float, rate: int, rms: float, *, channels: Channels | Literal["apart"] = "both", seed: int = 1,
    from_hz: float = 20.0, to_hz: float = 20_000.0,
) -> Array:  # fmt: skip
    """Make noise with the same power in every octave between two frequencies, and none outside.

    Each channel that sounds has the rms given, exactly. "apart" gives the channels noises of their own, which do not
    correlate. Raises ValueError where no frequency of so short a noise lies in the band.
    """
    frames = round(seconds * rate)
    rng = np.random.default_rng(seed)
    if channels == "apart":
        return np.vstack([_pink(rng, frames, rate, rms, from_hz, to_hz) for _ in range(2)])
    return placed(_pink(rng, frames, rate, rms, from_hz, to_hz), channels)


def _pink(rng: np.random.Generator, frames: int, rate: int, rms: float, from_hz: float, to_hz: float) -> Array:
    hz = np.fft.rfftfreq(frames, 1.0 / rate)
    band = (hz >= from_hz) & (hz <= to_hz) & (hz > 0.0)
    if not band.any():
        raise ValueError(f"{frames / rate:g} s hold no noise between {from_hz:g} and {to_hz:g} Hz")
    spectrum = np.zeros(len(hz), np.complex128)
    spectrum[band] = np.exp(2.0j * np.pi * rng.random(int(band.sum()))) / np.sqrt(hz[band])
    noise: Array = np.fft.irfft(spectrum, frames)
    return noise * (rms / np.sqrt(np.mean(noise**2)))


def _time(seconds: float, rate: int) -> Array:
    return np.arange(round(seconds * rate)) / rate


def _ends(frames: int, fade: float) -> Array:
    """Return the gains (frames,) of a fade in and a fade out."""
    gains = np.ones(frames)
    if fade > 0.0:
        n = np.arange(min(frames, math.ceil(fade)))  # only these frames of each end are below 1
        edge = np.clip(np.minimum(n, frames - 1 - n) / fade, 0.0, 1.0)
        rising = 0.5 * (1.0 - np.cos(np.pi * edge))
        gains[: len(n)] = rising
        gains[frames - len(n) :] = rising[::-1]
    return gains
