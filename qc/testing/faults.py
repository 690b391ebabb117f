"""Faults to plant, of samples and of files, each as a delivery really has it.

A fault of samples takes (2, frames) and gives a new array; what it does to, it says. A fault of a file changes the
file in its place. Seconds are seconds of the samples given.
"""

from __future__ import annotations

import hashlib
import os
import struct
from collections.abc import Iterable
from datetime import date, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from qc.testing.channels import Channels, Where
from qc.testing.signals import placed, swell

Array = NDArray[np.float64]
LEFT, RIGHT = 0, 1
ROWS: dict[Where, list[int]] = {"both": [0, 1], "left": [0], "right": [1]}


# -- of samples ------------------------------------------------------------------------------------------------


def clipped(x: Array, peak: float) -> Array:
    """Cut off whatever passes `peak` either way, as a converter does."""
    return np.clip(x, -peak, peak)


def flat_tops(x: Array, rate: int, *, at_s: float, runs: int, peak: float, channel: Where = "left") -> Array:
    """Plant runs of four equal samples at `peak`, the first at a second and then one every 20 frames."""
    y, first = x.copy(), round(at_s * rate)
    if first + 20 * runs > x.shape[1]:
        raise ValueError(f"{runs} runs from {at_s:g} s on do not fit into {x.shape[1] / rate:g} s")
    for row in ROWS[channel]:
        for k in range(runs):
            y[row, first + 20 * k : first + 20 * k + 4] = peak
    return y


def dc_offset(x: Array, offset: float, *, channel: Where = "both") -> Array:
    """Add direct current; full scale is 1.0."""
    y = x.copy()
    y[ROWS[channel]] += offset
    return y


def dropout(x: Array, rate: int, *, at_s: float, seconds: float, channel: Where = "both", fade_s: float = 0.0) -> Array:
    """Silence a stretch: at once, as a transfer that lost contact, or with fades before and behind it."""
    start, stop = round(at_s * rate), round((at_s + seconds) * rate)
    y, rows = x.copy(), ROWS[channel]
    y[rows, start:stop] = 0.0
    y[rows, :start] = _faded_out(y[rows, :start], rate, fade_s)
    y[rows, stop:] = _faded_out(y[rows, stop:][:, ::-1], rate, fade_s)[:, ::-1]
    return y


def gap(x: Array, rate: int, *, at_s: float, seconds: float, fade_s: float = 0.0) -> Array:
    """Push silence in at a second, with fades before and behind it or none: what follows comes later."""
    at = round(at_s * rate)
    after = _faded_out(x[:, at:][:, ::-1], rate, fade_s)[:, ::-1]
    return np.concatenate([_faded_out(x[:, :at], rate, fade_s), np.zeros((2, round(seconds * rate))), after], axis=1)


def _faded_out(x: Array, rate: int, fade_s: float) -> Array:
    """Fade the last seconds of (rows, frames) to nothing along a raised cosine."""
    frames = min(round(fade_s * rate), x.shape[1])
    ramp = np.ones(x.shape[1])
    ramp[x.shape[1] - frames :] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(frames) + 0.5) / max(frames, 1))
    return x * ramp


def shifted(x: Array, rate: int, *, seconds: float) -> Array:
    """Let all of it begin later by so many seconds of silence, or earlier, with the beginning cut off."""
    frames = round(seconds * rate)
    if frames < 0:
        return x[:, -frames:].copy()
    return np.concatenate([np.zeros((2, frames)), x], axis=1)


def swapped(x: Array) -> Array:
    """Exchange left and right."""
    return x[::-1].copy()


def inverted(x: Array, *, channel: Where = "right") -> Array:
    """Turn the polarity of a channel round: what was in phase is out of phase."""
    y = x.copy()
    y[ROWS[channel]] *= -1.0
    return y


def bass_out_of_phase(x: Array, rate: int, *, below_hz: float) -> Array:
    """Turn the right channel round below a frequency and leave it as it is above; nothing else is changed."""
    spectrum = np.fft.rfft(x[RIGHT])
    low = np.fft.rfftfreq(x.shape[1], 1.0 / rate) < below_hz
    spectrum[low] *= -1.0
    return np.vstack([x[LEFT], np.fft.irfft(spectrum, x.shape[1])])


def clicks(x: Array, rate: int, *, at_s: Iterable[float], peak: float, channel: Where = "both") -> Array:
    """Add a single sample of `peak` at each of some seconds."""
    y = x.copy()
    for second in at_s:
        y[ROWS[channel], round(second * rate)] += peak
    return y


def sibilants(
    x: Array, rate: int, *, at_s: Iterable[float], peak: float, hz: float = 7_000.0, seconds: float = 0.09,
    channels: Channels = "both",
) -> Array:  # fmt: skip
    """Add a hiss like that of an s, a swell about 7 kHz, with its middle at each of some seconds."""
    y = x.copy()
    hiss = swell(hz, seconds, rate, peak, channels=channels)
    for second in at_s:
        start = round(second * rate) - hiss.shape[1] // 2
        first, end = max(0, start), min(y.shape[1], start + hiss.shape[1])
        y[:, first:end] += hiss[:, first - start : end - start]
    return y


def one_sample(x: Array, rate: int, *, at_s: float, value: float, channel: Where = "left") -> Array:
    """Put a single value in, such as infinity or NaN, which only a file of floats can carry."""
    y = x.copy()
    y[ROWS[channel], round(at_s * rate)] = value
    return y


def hum(x: Array, rate: int, *, hz: float, peak: float, channels: Channels = "both") -> Array:
    """Add a steady tone, such as mains hum, over all of it."""
    return x + placed(peak * np.sin(2.0 * np.pi * hz * np.arange(x.shape[1]) / rate), channels)


# -- of files --------------------------------------------------------------------------------------------------


def truncate(file: Path, part: float) -> None:
    """Cut a file off: only so much of its bytes is kept, 0..1; the header still says what it did."""
    size = file.stat().st_size
    with file.open("r+b") as handle:
        handle.truncate(int(size * part))


def damage(file: Path) -> None:
    """Turn over one bit in the middle of a file: the length stays, the digest does not."""
    at = file.stat().st_size // 2
    with file.open("r+b") as handle:
        handle.seek(at)
        old = handle.read(1)
        handle.seek(at)
        handle.write(bytes([old[0] ^ 0x01]))


def leave_length_open(file: Path) -> None:
    """Let the header of a WAV file state no length, as one that was written to a pipe; raises ValueError for others."""
    content = bytearray(file.read_bytes())
    data = content.find(b"data")
    if content[:4] != b"RIFF" or data < 0:
        raise ValueError(f"{file.name} is no WAV file, so its length cannot be left open")
    struct.pack_into("<I", content, 4, 0xFFFFFFFF)
    struct.pack_into("<I", content, data + 4, 0xFFFFFFFF)
    file.write_bytes(content)


def understate_length(file: Path) -> None:
    """Let the header of a WAV or FLAC file state half of its sound, so that the rest lies behind what it states.

    A FLAC header then states no MD5 either. Raises ValueError for other files.
    """
    content = bytearray(file.read_bytes())
    data = content.find(b"data")
    if content[:4] == b"RIFF" and data > 0:
        size, frame = struct.unpack_from("<I", content, data + 4)[0], struct.unpack_from("<H", content, 32)[0]
        struct.pack_into("<I", content, data + 4, size // (2 * frame) * frame)
    elif content[:4] == b"fLaC":
        packed = struct.unpack_from(">Q", content, 18)[0]
        frames = packed & (1 << 36) - 1
        struct.pack_into(">Q", content, 18, packed - frames + frames // 2)
        content[26:42] = bytes(16)
    else:
        raise ValueError(f"{file.name} is no WAV or FLAC file, so its length cannot be understated")
    file.write_bytes(content)


def restate_md5(file: Path) -> None:
    """Let the header of a FLAC file state the MD5 of other samples; raises ValueError for others."""
    content = bytearray(file.read_bytes())
    if content[:4] != b"fLaC" or content[4] & 0x7F != 0:
        raise ValueError(f"{file.name} is no FLAC file, so it states no MD5 of its samples")
    content[26:42] = hashlib.md5(b"other samples", usedforsecurity=False).digest()
    file.write_bytes(content)


def change_day(file: Path, day: date) -> None:
    """Let a file say that it was last changed at noon of a day."""
    then = datetime(day.year, day.month, day.day, 12).timestamp()  # noqa: DTZ001 - papers are dated in local days
    os.utime(file, (then, then))


def checksum(file: Path, *, right: bool) -> str:
    """Give the SHA-256 that a paper states of a file: its own, or that of another one."""
    content = file.read_bytes()
    return hashlib.sha256(content if right else b"another file than " + content).hexdigest()


def empty(file: Path) -> None:
    """Leave a file without a byte."""
    file.write_bytes(b"")


def replace_with_text(file: Path) -> None:
    """Leave some text where the audio should be, as a download that failed."""
    file.write_text("The file you asked for has moved.\n", encoding="utf-8")


def replace_with_folder(file: Path) -> None:
    """Leave a folder of the same name."""
    file.unlink()
    file.mkdir()
