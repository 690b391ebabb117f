"""The instruments of the demo: every sound is worked out here from formulas and seeded noise, mono, at 44.1 kHz.

Tones are read from tables of one period by a phase that counts in 32-bit whole numbers, so it never drifts and costs
one look-up a sample; a bright table dies away sooner than a dark one. A sound that was played once is played again
from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float32]

RATE = 44_100
TABLE_BITS = 14
HIGHEST = 17_000.0
"""Hz; no partial of a tone lies above."""

VOWELS = {
    "a": (750.0, 1200.0, 2500.0, 3400.0),
    "e": (480.0, 1900.0, 2550.0, 3500.0),
    "i": (300.0, 2200.0, 2950.0, 3600.0),
    "o": (480.0, 850.0, 2500.0, 3300.0),
    "u": (320.0, 780.0, 2300.0, 3300.0),
}
"""Formants in Hz, common textbook orders of magnitude (practice)."""


def hertz(note: float) -> float:
    """Frequency of a MIDI note, also between the keys."""
    return float(440.0 * 2.0 ** ((note - 69.0) / 12.0))


def seconds(length: float) -> Sound:
    """Seconds from the start of a sound, one a frame."""
    return np.arange(round(length * RATE), dtype=np.float32) / np.float32(RATE)


def _table(hz: float, weight: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> Sound:
    """One period; `weight` gives the partials' amplitudes from their numbers 1, 2, 3 ..."""
    size = 1 << TABLE_BITS
    number = np.arange(1.0, max(2.0, min(HIGHEST / hz, 160.0)))
    spectrum = np.zeros(size // 2 + 1, dtype=np.complex128)
    # phases that grow with the square of the number keep the crest of the period low
    spectrum[1 : len(number) + 1] = weight(number) * np.exp(1j * np.pi * number * (number - 1.0) / len(number))
    period: Sound = (np.fft.irfft(spectrum, size) * (size / 2)).astype(np.float32)
    return period


def _phase(hz: float, frames: int, bend: Sound | None = None) -> NDArray[np.intp]:
    """Place in the table, one a frame; `bend` is a deviation in periods."""
    step = np.uint32(round(hz / RATE * 2**32))
    phase = np.arange(frames, dtype=np.uint32) * step
    if bend is not None:
        phase += (bend * np.float32(2**20)).astype(np.int32).view(np.uint32) << np.uint32(12)
    return (phase >> np.uint32(32 - TABLE_BITS)).astype(np.intp)


def noise(rng: np.random.Generator, frames: int, low: float, high: float) -> Sound:
    """White noise between two frequencies in Hz, 24 dB an octave beyond them, rms 1."""
    padded = 1 << (frames - 1).bit_length()
    hz = np.fft.rfftfreq(padded, 1.0 / RATE)
    shape = 1.0 / np.sqrt((1.0 + (low / np.maximum(hz, 1.0)) ** 8) * (1.0 + (hz / high) ** 8))
    spectrum = shape * (rng.standard_normal(len(hz)) + 1j * rng.standard_normal(len(hz)))
    out = np.fft.irfft(spectrum, padded)[:frames]
    return (out / np.sqrt(np.mean(out**2))).astype(np.float32)


def _swell(t: Sound, length: float, attack: float, release: float) -> Sound:
    """From nothing and back to nothing."""
    out: Sound = np.clip(np.minimum(t / attack, (length - t) / release), 0.0, 1.0)
    return out * out * (3.0 - 2.0 * out)


class Voices:
    """All instruments, with one source of noise; the same seed gives the same sounds."""

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        # a cache of this instance's own: what is drawn from the noise does not depend on who played before
        self.bass, self.keys, self.guitar = lru_cache(_bass), lru_cache(_keys), lru_cache(_guitar)
        self.strings, self.voice = lru_cache(_strings), lru_cache(_voice)
        self.kicks = [_kick(49.0 + i) for i in range(2)]
        self.snares = [_snare(self._rng) for _ in range(4)]
        self.hats = [_metal(self._rng, 0.12, 0.028, 6_000.0) for _ in range(5)]
        self.open_hats = [_metal(self._rng, 0.5, 0.13, 5_500.0) for _ in range(2)]
        self.rides = [_ride(self._rng) for _ in range(3)]
        self.crash = _crash(self._rng)
        self.toms = [_tom(hz) for hz in (165.0, 122.0, 92.0)]
        self.shakes = [_shake(self._rng) for _ in range(4)]
        self.hisses = [self.hiss(0.085, 5_200.0, 9_500.0) for _ in range(5)]
        self.ticks = [_tick(self._rng) for _ in range(3)]

    def hiss(self, length: float, low: float, high: float) -> Sound:
        """Hiss an s: noise that swells and is gone."""
        t = seconds(length)
        return noise(self._rng, len(t), low, high) * _swell(t, length, 0.35 * length, 0.4 * length)


def _bass(note: int, length: float) -> Sound:
    """Pluck a bass string, damped at its end."""
    t, hz = seconds(length), hertz(note)
    phase = _phase(hz, len(t))
    dark = _table(hz, lambda k: np.exp(-0.75 * (k - 1.0)))
    bright = _table(hz, lambda k: np.abs(np.sin(0.7 * k)) / k**1.1 * np.exp(-((k * hz / 2_200.0) ** 2)))
    sound = dark[phase] * np.exp(-t / 1.1) + 0.8 * bright[phase] * np.exp(-t / 0.25)
    return sound * _swell(t, length, 0.004, 0.05)


def _keys(note: int, length: float, hard: bool) -> Sound:
    """Something between an electric piano and a bell: a round body and a tine that dies at once."""
    t, hz = seconds(length), hertz(note)
    phase = _phase(hz, len(t))
    body = _table(
        hz,
        lambda k: (
            np.array([1.0, 0.28, 0.12, 0.05, 0.025, 0.012])[: len(k)][np.minimum(k, 6).astype(int) - 1] * (k <= 6)
        ),
    )
    tine = _table(hz, lambda k: np.exp(-(((k * hz - 3_100.0) / 1_400.0) ** 2)) / np.sqrt(k))
    decay = 0.55 + 60.0 / hz
    sound = body[phase] * np.exp(-t / decay) + (0.6 if hard else 0.3) * tine[phase] * np.exp(-t / 0.09)
    return sound * _swell(t, length, 0.002, 0.12)


def _guitar(note: int, length: float, up: bool) -> Sound:
    """Pluck a steel string at a seventh of its length."""
    t, hz = seconds(length), hertz(note + 0.04)
    phase = _phase(hz, len(t))
    dark = _table(hz, lambda k: np.abs(np.sin(np.pi * k / 7.0)) / k**1.4 * np.exp(-k * hz / 1_800.0))
    bright = _table(hz, lambda k: np.abs(np.sin(np.pi * k / 7.0)) / k**0.9 * np.exp(-k * hz / 5_200.0))
    sound = dark[phase] * np.exp(-t / 0.9) + (1.1 if up else 0.8) * bright[phase] * np.exp(-t / 0.22)
    return sound * _swell(t, length, 0.002, 0.15)


def _strings(notes: tuple[int, ...], length: float, high: bool) -> Sound:
    """Bow a chord of strings, three to a note and none quite in tune; `high` is the other desk."""
    t = seconds(length)
    out = np.zeros_like(t)
    for i, note in enumerate(notes):
        hz = hertz(note)
        table = _table(hz, lambda k, hz=hz: k**-0.95 * np.exp(-k * hz / 5_500.0))  # type: ignore[misc]
        for j, cents in enumerate((-9.0, 1.0, 8.0) if high else (-6.0, -1.0, 11.0)):
            sway = 0.035 * np.sin(2.0 * np.pi * (4.6 + 0.23 * (i + j)) * t + 1.7 * i + 2.3 * j, dtype=np.float32)
            out += np.roll(table, 3_001 * (i + 2 * j))[_phase(hertz(note + cents / 100.0), len(t), sway)]
    return out / np.float32(3.0 * np.sqrt(len(notes))) * _swell(t, length, 0.28, 0.4)


def _voice(note: int, length: float, vowels: str) -> Sound:
    """Sing a note that glides into its pitch and from one vowel to another, with a vibrato that comes late."""
    t, hz = seconds(length), hertz(note)
    wave = 0.06 * np.sin(2.0 * np.pi * 5.3 * t, dtype=np.float32) * np.clip((t - 0.22) / 0.3, 0.0, 1.0)
    glide = np.float32(-0.012 * hz * 0.06) * (1.0 - np.exp(-t / 0.06))
    phase = _phase(hz, len(t), wave * np.float32(hz / 220.0) + glide)
    first, last = (_table(hz, lambda k, v=v: _formants(k * hz, v)) for v in (vowels[0], vowels[-1]))  # type: ignore[misc]
    across = np.clip(t / length * 1.6 - 0.3, 0.0, 1.0)
    return ((1.0 - across) * first[phase] + across * last[phase]) * _swell(t, length, 0.045, 0.11)


def _formants(hz: NDArray[np.float64], vowel: str) -> NDArray[np.float64]:
    """Return the gains of partials: a glottal slope filtered by the resonances of a vowel."""
    slope = 1.0 / (1.0 + (hz / 320.0) ** 1.1)
    gains = np.full_like(hz, 0.07)
    for f, gain in zip(VOWELS[vowel], (0.8, 1.3, 1.6, 1.3), strict=True):
        gains += gain / (1.0 + ((hz - f) / (70.0 + 0.06 * f)) ** 2)
    return slope * gains


def _kick(hz: float) -> Sound:
    t = seconds(0.38)
    fall = np.sin(2.0 * np.pi * (hz * t - 2.6 * np.exp(-t / 0.028)), dtype=np.float32) * np.exp(-t / 0.12)
    click = np.sin(2.0 * np.pi * 2_300.0 * t, dtype=np.float32) * np.exp(-t / 0.0035)
    return (fall + 0.18 * click) * _swell(t, 0.38, 0.0012, 0.08)


def _snare(rng: np.random.Generator) -> Sound:
    t = seconds(0.32)
    body = sum(
        gain * np.sin(2.0 * np.pi * hz * t, dtype=np.float32) * np.exp(-t / decay)
        for hz, gain, decay in ((186.0, 0.6, 0.06), (331.0, 0.3, 0.045))
    )
    wires = 0.17 * noise(rng, len(t), 900.0, 7_500.0) * np.exp(-t / 0.075)
    return ((body + wires) * _swell(t, 0.32, 0.001, 0.08)).astype(np.float32)


def _tom(hz: float) -> Sound:
    t = seconds(0.5)
    return (
        np.sin(2.0 * np.pi * (hz * t - 0.8 * np.exp(-t / 0.05)), dtype=np.float32)
        * np.exp(-t / 0.16)
        * _swell(t, 0.5, 0.002, 0.1)
    )


def _metal(rng: np.random.Generator, length: float, decay: float, low: float) -> Sound:
    t = seconds(length)
    return noise(rng, len(t), low, 13_000.0) * np.exp(-t / decay) * _swell(t, length, 0.0008, 0.03)


def _ride(rng: np.random.Generator) -> Sound:
    t = seconds(0.9)
    ping = sum(
        np.sin(2.0 * np.pi * hz * t + 0.4 * i, dtype=np.float32)
        for i, hz in enumerate((2_143.0, 2_977.0, 3_769.0, 4_853.0, 6_131.0))
    )
    wash = 0.5 * noise(rng, len(t), 4_000.0, 11_000.0) * np.exp(-t / 0.3)
    return ((0.22 * ping * np.exp(-t / 0.12) + wash) * _swell(t, 0.9, 0.001, 0.2)).astype(np.float32)


def _crash(rng: np.random.Generator) -> Sound:
    t = seconds(2.4)
    low = noise(rng, len(t), 1_800.0, 6_000.0) * np.exp(-t / 0.75)
    high = noise(rng, len(t), 5_000.0, 13_000.0) * np.exp(-t / 0.4)
    return (0.7 * low + high) * _swell(t, 2.4, 0.004, 0.5)


def _shake(rng: np.random.Generator) -> Sound:
    t = seconds(0.09)
    return noise(rng, len(t), 4_500.0, 10_000.0) * _swell(t, 0.09, 0.03, 0.055)


def _tick(rng: np.random.Generator) -> Sound:
    """Return the noise of a t or a k before a vowel."""
    t = seconds(0.035)
    return noise(rng, len(t), 1_800.0, 6_000.0) * np.exp(-t / 0.008) * _swell(t, 0.035, 0.001, 0.01)
