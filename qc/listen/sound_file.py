"""From playback at the rate of motion to sound files: 48 kHz, 24 bit, two channels."""

from __future__ import annotations

import math
import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import biquad
from qc.dsp.filters.fir import kaiser_low_pass, mirrored
from qc.dsp.filters.kweighting import k_weighting

Array = NDArray[np.float64]

RATE = 48_000
"""Hz of every file."""
PASS, STOP = 20_000.0, 24_000.0
"""Hz, edges of the filter before the rate falls."""
ATTENUATION = 110.0
"""dB of its stop band."""
FADE_S = 0.005
"""Length in s of the fade at either end, since a passage is cut out of the middle."""
PEAK = 10.0 ** (-1.0 / 20.0)
"""Greatest sample of any file, -1 dBFS."""


def resampled(x: Array, rate: int) -> Array:
    """Return x (2, frames) at RATE, frame 0 at frame 0; `rate` is 88,200 or 96,000."""
    common = math.gcd(rate, RATE)
    up, down = RATE // common, rate // common
    half = up * kaiser_low_pass(PASS, STOP, float(rate * up), ATTENUATION)
    reach = -(-len(half) // up) * up
    half = np.concatenate([half, np.zeros(reach + 1 - len(half))])
    taps = mirrored(half)  # centre at `reach`
    frames, around = x.shape[1] * up // down, reach // up
    padded = np.pad(x, ((0, 0), (around, around + 1)))
    out = np.empty((2, frames))
    for phase in range(up):
        # output n = phase + up m lies at n down / up of x; its taps are those a whole number of frames from there
        whole, part = divmod(phase * down, up)
        mine = taps[reach - around * up + part :: up][: 2 * around][::-1] if part else taps[::up]
        first = whole + (1 if part else 0)
        count = len(range(phase, frames, up))
        windows = np.lib.stride_tricks.sliding_window_view(padded, len(mine), axis=1)
        out[:, phase::up] = windows[:, first : first + down * count : down][:, :count] @ mine
    return out


def loudness(x: Array) -> float:
    """Return the K-weighted mean square of both channels at RATE, not gated: a passage is shorter than its gate."""
    sections = biquad.paired(k_weighting(RATE))
    weighted = biquad.run(np.ascontiguousarray(x), sections, biquad.fresh(sections, 2), np.empty_like(x))
    return float(np.square(weighted).mean())


def faded(x: Array) -> Array:
    """Return x with its ends faded in and out."""
    frames = min(round(FADE_S * RATE), x.shape[1] // 2)
    rise = 0.5 * (1.0 - np.cos(np.pi * (np.arange(frames) + 0.5) / frames))
    out = x.copy()
    out[:, :frames] *= rise
    out[:, x.shape[1] - frames :] *= rise[::-1]
    return out


def write_sound(path: Path, x: Array) -> None:
    """Write x (2, frames) as a WAV file; raises OSError."""
    values = np.clip(np.rint(x.T * 2.0**23), -(2.0**23), 2.0**23 - 1.0).astype("<i4")
    octets = values.reshape(-1, 1).view(np.uint8)[:, :3]
    with path.open("wb") as file, wave.open(file, "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(3)
        out.setframerate(RATE)
        out.writeframes(np.ascontiguousarray(octets).tobytes())
