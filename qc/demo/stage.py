"""Mix a track from a dry stereo bus and a send to a room."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.demo.voices import RATE, Sound, noise, seconds

BLOCK = 1 << 17
"""Frames of one transform of the room."""


class Stage:
    """Buses for one track; sounds are added at a second, panned by constant power."""

    def __init__(self, length: float) -> None:
        self.frames = round(length * RATE)
        self.dry = np.zeros((2, self.frames), dtype=np.float32)
        self.send = np.zeros(self.frames, dtype=np.float32)

    def put(self, start: float, sound: Sound, gain: float, pan: float = 0.0, room: float = 0.0) -> None:
        """Add a mono sound; pan -1 (left) to 1, `room` the share that is sent to the room."""
        angle = (pan + 1.0) * np.pi / 4.0
        self.place(start, sound, gain * float(np.cos(angle)), gain * float(np.sin(angle)), gain * room)

    def place(self, start: float, sound: Sound, left: float, right: float, room: float = 0.0) -> None:
        """Add a mono sound by the gain of each channel; gains of opposite sign put it out of phase."""
        at = max(0, round(start * RATE))
        sound = sound[: max(0, self.frames - at)]
        here = slice(at, at + len(sound))
        self.dry[0, here] += np.float32(left) * sound
        self.dry[1, here] += np.float32(right) * sound
        if room:
            self.send[here] += np.float32(room) * sound

    def mixed(self, room: NDArray[np.complex64], wet: float) -> NDArray[np.float32]:
        """Return the dry bus with the room, (2, frames)."""
        out = self.dry
        out += np.float32(wet) * convolved(self.send, room)
        return out


def room(rng: np.random.Generator, decay: float) -> NDArray[np.complex64]:
    """Build a room: early reflections and a tail whose treble dies sooner, as spectra of both channels for `BLOCK`.

    `decay` is the time in s in which the tail's low end falls by 8.7 dB.
    """
    t = seconds(min(7.0 * decay, 1.4))
    impulse = np.zeros((2, len(t)), dtype=np.float32)
    for channel in range(2):
        for low, high, part in ((260.0, 900.0, 1.0), (700.0, 4_000.0, 0.7), (3_000.0, 9_000.0, 0.4)):
            impulse[channel] += noise(rng, len(t), low, high) * np.exp(-t / np.float32(part * decay)) * np.float32(part)
        impulse[channel, : round(0.022 * RATE)] = 0.0
        for _ in range(6):
            impulse[channel, round((0.011 + 0.04 * rng.random()) * RATE)] += 9.0 * (rng.random() - 0.5)
    impulse /= np.sqrt(np.sum(impulse**2, axis=1, keepdims=True))
    return np.fft.rfft(impulse, BLOCK, axis=1)  # type: ignore[return-value]


def convolved(x: Sound, spectra: NDArray[np.complex64]) -> NDArray[np.float32]:
    """Sound through the room, block by block, (2, frames); the tail past the end is left out."""
    step = BLOCK // 2
    out = np.zeros((2, len(x) + BLOCK), dtype=np.float32)
    for at in range(0, len(x), step):
        here = np.fft.rfft(x[at : at + step], BLOCK)
        out[:, at : at + BLOCK] += np.fft.irfft(here * spectra, BLOCK, axis=1)
    return out[:, : len(x)]


def mastered(mix: NDArray[np.float32], drive: float, peak: float) -> NDArray[np.float32]:
    """Round off the loudest peaks softly; `drive` is the gain before, `peak` the height nothing goes above."""
    out: NDArray[np.float32] = np.tanh(mix * np.float32(drive)) * np.float32(peak)
    return out
