"""Realistic faults of samples and of files, for tests.

A fault of samples takes (2, frames) and returns a new array. A fault of a file changes the file in place. Seconds
count from the start of the samples.
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
    """Clip samples beyond `peak` in either direction, as a converter does."""
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
    """Silence a stretch: abruptly, like a transfer that lost contact, or with fades before and after it."""
    start, stop = round(at_s * rate), round((at_s + seconds) * rate)
    y, rows = x.copy(), ROWS[channel]
    y[rows, start:stop] = 0.0
    y[rows, :start] = _faded_out(y[rows, :start], rate, fade_s)
    y[rows, stop:] = _faded_out(y[rows, stop:][:, ::-1], rate, fade_s)[:, ::-1]
    return y


def gap(x: Array, rate: int, *, at_s: float, seconds: float, fade_s: float = 0.0) -> Array:
    """Insert silence at a second, which delays the rest, with or without fades before and after it."""
    at = round(at_s * rate)
    after = _faded_out(x[:, at:][:, ::-1], rate, fade_s)[:, ::-1]
    return np.concatenate([_faded_out(x[:, :at], rate, fade_s), np.zeros((2, round(seconds * rate))), after], axis=1)


def stuttered(x: Array, rate: int, *, at_s: float, seconds: float, times: int = 1) -> Array:
    """Repeat the seconds before a place `times` times, which delays the rest, as a buffer that slips does."""
    at = round(at_s * rate)
    again = [x[:, max(0, at - round(seconds * rate)) : at]] * times
    return np.concatenate([x[:, :at], *again, x[:, at:]], axis=1)


def _faded_out(x: Array, rate: int, fade_s: float) -> Array:
    """Fade the last seconds of (rows, frames) to nothing along a raised cosine."""
    frames = min(round(fade_s * rate), x.shape[1])
    ramp = np.ones(x.shape[1])
    ramp[x.shape[1] - frames :] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(frames) + 0.5) / max(frames, 1))
    return x * ramp


def shifted(x: Array, rate: int, *, seconds: float) -> Array:
    """Delay the samples by seconds of silence, or advance them by cutting off their beginning."""
    frames = round(seconds * rate)
    if frames < 0:
        return x[:, -frames:].copy()
    return np.concatenate([np.zeros((2, frames)), x], axis=1)


def swapped(x: Array) -> Array:
    """Exchange left and right."""
    return x[::-1].copy()


def inverted(x: Array, *, channel: Where = "right") -> Array:
    """Invert the polarity of a channel."""
    y = x.copy()
    y[ROWS[channel]] *= -1.0
    return y


def late(x: Array, rate: int, *, seconds: float, channel: Where = "right") -> Array:
    """Delay a channel by any time, by turning its phases; what leaves the end comes in at the start."""
    y, turns = x.copy(), np.fft.rfftfreq(x.shape[1], 1.0 / rate) * seconds
    rows = ROWS[channel]
    y[rows] = np.fft.irfft(np.fft.rfft(x[rows]) * np.exp(-2j * np.pi * turns), x.shape[1])
    return y


def bass_out_of_phase(x: Array, rate: int, *, below_hz: float) -> Array:
    """Invert the right channel below a frequency and leave the rest unchanged."""
    spectrum = np.fft.rfft(x[RIGHT])
    low = np.fft.rfftfreq(x.shape[1], 1.0 / rate) < below_hz
    spectrum[low] *= -1.0
    return np.vstack([x[LEFT], np.fft.irfft(spectrum, x.shape[1])])


def missing_band(x: Array, rate: int, *, at_s: Iterable[float], seconds: float, from_hz: float, to_hz: float) -> Array:
    """Leave a band of both channels out for some time from each given second on, within fades of 0.5 ms."""
    hz, gain = np.fft.rfftfreq(x.shape[1], 1.0 / rate), np.ones(x.shape[1])
    band = np.fft.irfft(np.fft.rfft(x) * ((hz >= from_hz) & (hz <= to_hz)), x.shape[1])
    time = np.arange(x.shape[1]) / rate
    for second in at_s:
        outside = np.maximum(second - time, time - second - seconds)
        gain = np.minimum(gain, np.clip(outside / 0.0005, 0.0, 1.0))
    return x - band * (1.0 - gain)


def clicks(x: Array, rate: int, *, at_s: Iterable[float], peak: float, channel: Where = "both") -> Array:
    """Add a single sample of `peak` at each given second."""
    y = x.copy()
    for second in at_s:
        y[ROWS[channel], round(second * rate)] += peak
    return y


def sibilants(
    x: Array, rate: int, *, at_s: Iterable[float], peak: float, hz: float = 7_000.0, seconds: float = 0.09,
    channels: Channels = "both",
) -> Array:  # fmt: skip
    """Add a hiss like that of an s, a swell around 7 kHz, with its middle at each given second."""
    y = x.copy()
    hiss = swell(hz, seconds, rate, peak, channels=channels)
    for second in at_s:
        start = round(second * rate) - hiss.shape[1] // 2
        first, end = max(0, start), min(y.shape[1], start + hiss.shape[1])
        y[:, first:end] += hiss[:, first - start : end - start]
    return y


def recording_curve(x: Array, rate: int, *, part: float = 1.0) -> Array:
    """Apply a part of the recording curve of discs, in dB, at the phase of its filters; the peak stays as it was.

    Time constants of 3180, 318 and 75 us: (1 + s 3180 us) (1 + s 75 us) / (1 + s 318 us).
    """
    turn = 2j * np.pi * np.fft.rfftfreq(x.shape[1], 1.0 / rate)
    gain = np.log1p(turn * 3180e-6) + np.log1p(turn * 75e-6) - np.log1p(turn * 318e-6)
    y = np.fft.irfft(np.fft.rfft(x) * np.exp(part * gain), x.shape[1])
    return y * (np.abs(x).max() / max(1e-30, np.abs(y).max()))


def requantised(x: Array, bits: int, *, dither: bool = False) -> Array:
    """Round to a number of bits, with triangular dither of one step to either side or without any."""
    step = 2.0 ** (1 - bits)
    rng = np.random.default_rng(bits)
    noise = rng.random(x.shape) - rng.random(x.shape) if dither else 0.0
    return np.clip(step * np.round(x / step + noise), -1.0, 1.0 - step)


def one_sample(x: Array, rate: int, *, at_s: float, value: float, channel: Where = "left") -> Array:
    """Replace one sample by a value such as infinity or NaN, which only files of floats can hold."""
    y = x.copy()
    y[ROWS[channel], round(at_s * rate)] = value
    return y


def hum(x: Array, rate: int, *, hz: float, peak: float, channels: Channels = "both") -> Array:
    """Add a steady tone, such as mains hum, to all samples."""
    return x + placed(peak * np.sin(2.0 * np.pi * hz * np.arange(x.shape[1]) / rate), channels)


# -- of files --------------------------------------------------------------------------------------------------


def truncate(file: Path, part: float) -> None:
    """Truncate a file to a part of its bytes, 0..1, with an unchanged header."""
    size = file.stat().st_size
    with file.open("r+b") as handle:
        handle.truncate(int(size * part))


def damage(file: Path) -> None:
    """Invert one bit in the middle of a file, which keeps its length and changes its digest."""
    at = file.stat().st_size // 2
    with file.open("r+b") as handle:
        handle.seek(at)
        old = handle.read(1)
        handle.seek(at)
        handle.write(bytes([old[0] ^ 0x01]))


def leave_length_open(file: Path) -> None:
    """Remove the lengths from the header of a WAV file, as of one written to a pipe; raises ValueError for others."""
    content = bytearray(file.read_bytes())
    data = content.find(b"data")
    if content[:4] != b"RIFF" or data < 0:
        raise ValueError(f"{file.name} is no WAV file, so its length cannot be left open")
    struct.pack_into("<I", content, 4, 0xFFFFFFFF)
    struct.pack_into("<I", content, data + 4, 0xFFFFFFFF)
    file.write_bytes(content)


def understate_length(file: Path) -> None:
    """State half of the length in the header of a WAV or FLAC file, so that the rest follows the stated end.

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
    """State the MD5 of other samples in the header of a FLAC file; raises ValueError for others."""
    content = bytearray(file.read_bytes())
    if content[:4] != b"fLaC" or content[4] & 0x7F != 0:
        raise ValueError(f"{file.name} is no FLAC file, so it states no MD5 of its samples")
    content[26:42] = hashlib.md5(b"other samples", usedforsecurity=False).digest()
    file.write_bytes(content)


def change_day(file: Path, day: date) -> None:
    """Set the modification time of a file to noon of a day."""
    then = datetime(day.year, day.month, day.day, 12).timestamp()  # noqa: DTZ001 - documents are dated in local days
    os.utime(file, (then, then))


def checksum(file: Path, *, right: bool) -> str:
    """Return the SHA-256 that a document states of a file: the right one, or that of another file."""
    content = file.read_bytes()
    return hashlib.sha256(content if right else b"another file than " + content).hexdigest()


def empty(file: Path) -> None:
    """Empty a file."""
    file.write_bytes(b"")


def replace_with_text(file: Path) -> None:
    """Replace the audio by text, as a failed download does."""
    file.write_text("The file you asked for has moved.\n", encoding="utf-8")


def replace_with_folder(file: Path) -> None:
    """Replace the file by a folder of the same name."""
    file.unlink()
    file.mkdir()
