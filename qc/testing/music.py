"""Synthetic music from a seed, for demos and tests: bass, keys, drums with cymbals, a voice-like part, room.

It contains and imitates no recording. The same seed, length and rate give the same samples on one machine.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PROGRESSION = ((0, 3, 7, 10), (5, 8, 12, 15), (-4, 0, 3, 7), (-2, 2, 5, 8))
"""Chords in semitones above the tonic, a bar each."""
FORMANTS = ((730.0, 1090.0, 2440.0), (270.0, 2290.0, 3010.0), (300.0, 870.0, 2240.0), (530.0, 1840.0, 2480.0))
"""First three formants in Hz of four vowels, common textbook values (from memory)."""
RELEASE_S = 0.005
"""Fade at the end of each sound, which would end with a click where it was cut off."""


@dataclass(frozen=True, slots=True)
class Song:
    """Parameters of a song: tempo in beats a minute, tonic as a MIDI note, and gains of the parts (1 = as mixed)."""

    seconds: float
    rate: int
    seed: int = 1
    tempo: float = 92.0
    tonic: int = 45
    cymbals: float = 1.0
    bass_width: float = 0.0
    """phase difference of the bass between the channels: 0 for mono, 1 for opposite phase"""
    voice: float = 1.0


def song(plan: Song) -> Array:
    """Render a song, (2, frames), its highest sample at -1 dBFS."""
    stage = _MixBuses(plan)
    beat = 60.0 / plan.tempo
    bars = int(np.ceil(plan.seconds / (4.0 * beat)))
    for bar in range(bars):
        chord = PROGRESSION[bar % len(PROGRESSION)]
        start = 4.0 * beat * bar
        _bass(stage, start, beat, chord)
        _keys(stage, start, beat, chord)
        if bar >= 2:
            _drums(stage, start, beat, fill=bar % 8 == 7)
        if bar >= 4 and bar % 8 not in (6, 7):
            _voice(stage, start, beat, chord)
    return stage.mixed()


class _MixBuses:
    """The mix buses of all parts: dry stereo, and a send to the room."""

    def __init__(self, plan: Song) -> None:
        self.plan = plan
        self.rng = np.random.default_rng(plan.seed)
        self.frames = round(plan.seconds * plan.rate)
        self.dry, self.send = np.zeros((2, self.frames)), np.zeros((2, self.frames))

    def put(self, start: float, sound: Array, pan: float, room: float) -> None:
        """Add a mono sound at a second; pan -1..1 by constant power, `room` the share sent to the room."""
        at = round(start * self.plan.rate)
        fade = np.minimum(1.0, np.arange(len(sound))[::-1] / (RELEASE_S * self.plan.rate))
        sound = (sound * fade)[: max(0, self.frames - at)]
        if at < 0 or not len(sound):
            return
        angle = (pan + 1.0) * np.pi / 4.0
        for channel, gain in enumerate((np.cos(angle), np.sin(angle))):
            self.dry[channel, at : at + len(sound)] += gain * sound
            self.send[channel, at : at + len(sound)] += room * gain * sound

    def time(self, seconds: float) -> Array:
        """Seconds from the start of a sound, one a frame."""
        return np.arange(round(seconds * self.plan.rate)) / self.plan.rate

    def noise(self, seconds: float, low: float, high: float) -> Array:
        """White noise between two frequencies in Hz, rms 1."""
        n = max(2, round(seconds * self.plan.rate))
        spectrum = np.fft.rfft(self.rng.standard_normal(n))
        hz = np.fft.rfftfreq(n, 1.0 / self.plan.rate)
        shape = 1.0 / (1.0 + (low / np.maximum(hz, 1.0)) ** 8) / (1.0 + (hz / high) ** 8)
        out: Array = np.fft.irfft(spectrum * shape, n)
        return out / max(1e-9, float(np.sqrt(np.mean(out**2))))

    def mixed(self) -> Array:
        """Return the mix, (2, frames): room added, loudest peaks limited softly, highest sample at -1 dBFS."""
        t = self.time(1.1)
        wet = []
        for channel in range(2):
            tail = self.rng.standard_normal(len(t)) * np.exp(-t / 0.22)
            tail[: round(0.018 * self.plan.rate)] = 0.0
            n = 1 << (self.frames + len(t)).bit_length()
            both = np.fft.irfft(np.fft.rfft(self.send[channel], n) * np.fft.rfft(tail, n), n)
            wet.append(both[: self.frames] / np.sqrt(np.sum(tail**2)))
        mix = self.dry + 0.5 * np.array(wet)
        mix = np.tanh(0.8 * mix / np.quantile(np.abs(mix), 0.9999))
        fade = np.minimum(1.0, np.minimum(np.arange(self.frames), np.arange(self.frames)[::-1]) / 0.02 / self.plan.rate)
        mix = mix * fade
        out: Array = mix * (10.0 ** (-1.0 / 20.0) / np.abs(mix).max())
        return out


def _hz(note: float) -> float:
    return float(440.0 * 2.0 ** ((note - 69.0) / 12.0))


def _partials(t: Array, hz: float, weights: NDArray[Any], decay: float) -> Array:
    """Sum the harmonics below 18 kHz; higher ones decay faster."""
    out = np.zeros_like(t)
    for k, weight in enumerate(weights, start=1):
        if k * hz < 18_000.0:
            out += weight * np.sin(2.0 * np.pi * k * hz * t + 0.7 * k) * np.exp(-t * (0.6 + 0.4 * k) / decay)
    return out


def _bass(stage: _MixBuses, start: float, beat: float, chord: tuple[int, ...]) -> None:
    """Add a plucked bass: root, fifth, octave, with the width of the plan."""
    for step, (at, interval) in enumerate(((0.0, 0), (1.5, 0), (2.0, 7), (3.5, 12))):
        t = stage.time(beat * 1.3)
        hz = _hz(stage.plan.tonic - 12 + chord[0] + interval)
        sound = 0.55 * _partials(t, hz, 0.8 ** np.arange(1, 9), 1.2) * np.minimum(1.0, t / 0.006)
        width = stage.plan.bass_width
        where = start + at * beat
        stage.put(where, (1.0 - width) * sound, 0.0, 0.05)
        if width and step % 2 == 0:
            for pan, sign in ((-1.0, 1.0), (1.0, -1.0)):
                stage.put(where, sign * width * sound, pan, 0.0)


def _keys(stage: _MixBuses, start: float, beat: float, chord: tuple[int, ...]) -> None:
    """Add broken chords between piano and bell in timbre, panned from left to right."""
    for i in range(8):
        note = stage.plan.tonic + 24 + chord[i % 4] + (12 if i in (3, 6) else 0)
        t = stage.time(beat * 2.2)
        loud = 0.16 * (0.8 + 0.4 * stage.rng.random())
        sound = loud * _partials(
            t, _hz(note) * (1.0 + 4e-4 * stage.rng.standard_normal()), 0.6 ** np.arange(1, 11), 1.6
        )
        stage.put(start + i * beat / 2.0, sound * np.minimum(1.0, t / 0.003), (i % 4 - 1.5) / 2.2, 0.35)


def _drums(stage: _MixBuses, start: float, beat: float, *, fill: bool) -> None:
    """Add kick, snare and hi-hat, and a crash after a fill."""
    t = stage.time(0.35)
    kick = np.sin(2.0 * np.pi * (48.0 * t - 9.0 * np.exp(-t / 0.018))) * np.exp(-t / 0.11)
    for at in (0.0, 2.0, 2.5):
        stage.put(start + at * beat, 0.8 * kick, 0.0, 0.03)
    for at in (1.0, 3.0, *((3.25, 3.5, 3.75) if fill else ())):
        t = stage.time(0.25)
        body = 0.5 * np.sin(2.0 * np.pi * 190.0 * t) * np.exp(-t / 0.05)
        snap = 0.22 * stage.noise(0.25, 1_200.0, 9_000.0)[: len(t)] * np.exp(-t / 0.07)
        stage.put(start + at * beat, body + snap, 0.1, 0.3)
    for i in range(8):
        length = 0.22 if i == 7 else 0.07
        t = stage.time(length)
        hat = stage.noise(length, 6_500.0, 15_000.0)[: len(t)] * np.exp(-t / (length / 3.0))
        stage.put(start + i * beat / 2.0, 0.05 * stage.plan.cymbals * hat, -0.35, 0.1)
    if fill:
        t = stage.time(2.2)
        crash = stage.noise(2.2, 3_000.0, 16_000.0)[: len(t)] * np.exp(-t / 0.6) * np.minimum(1.0, t / 0.004)
        stage.put(start + 4.0 * beat, 0.14 * stage.plan.cymbals * crash, 0.4, 0.2)


def _voice(stage: _MixBuses, start: float, beat: float, chord: tuple[int, ...]) -> None:
    """Add a voice-like line: a buzzing source with three formants, each note starting with a sibilant."""
    for i, at in enumerate((0.5, 1.5, 2.25, 3.0)):
        length = beat * (0.9 if i != 3 else 1.1)
        t = stage.time(length)
        hz = _hz(stage.plan.tonic + 12 + chord[(i + 1) % 4])
        bend = hz * (t + 0.004 / 5.2 * np.sin(2.0 * np.pi * 5.2 * t) / (2.0 * np.pi))
        vowel = FORMANTS[int(stage.rng.integers(len(FORMANTS)))]
        sound = np.zeros_like(t)
        for k in range(1, int(5_000.0 / hz)):
            gain = sum(1.0 / (1.0 + ((k * hz - f) / (60.0 + 0.05 * f)) ** 2) / (j + 1) for j, f in enumerate(vowel))
            sound += gain / k**0.35 * np.sin(2.0 * np.pi * k * bend)
        shape = np.minimum(1.0, np.minimum(t / 0.05, np.maximum(0.0, length - t) / 0.09))
        stage.put(start + at * beat, 0.2 * stage.plan.voice * sound * shape, -0.05, 0.4)
        s = stage.time(0.09)
        hiss = stage.noise(0.09, 5_200.0, 10_500.0)[: len(s)] * np.sin(np.pi * s / 0.09) ** 2
        stage.put(start + at * beat - 0.07, 0.07 * stage.plan.voice * hiss, -0.05, 0.3)
