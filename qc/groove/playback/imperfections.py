"""Imperfections of a disc and a pickup that playback leaves out unless they are asked for, each by its own source.

A vertical tracking error reads the groove ahead of or behind itself by what the tip is lifted (P-3, of the form of
P-1). An eccentric hole makes the groove faster and slower once a turn (P-7). Surface noise is white in velocity behind
the replay curve, at a level re 5 cm/s (P-15, from memory: no spectrum is published). The burnishing facet touches the
wall a little behind the cutting edge, which takes the mean over its length (C-5, in the form of P-5: a weak source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import biquad
from qc.dsp.filters.biquad import Sections, response
from qc.dsp.filters.recording import T1, T2, T3
from qc.dsp.kernels.compile import kernel

Array = NDArray[np.float64]

REFERENCE = 0.05
"""Peak lateral velocity in m/s that noise is stated against (L-5)."""
SEED = 1
TAPS = 32
"""Samples that one between samples is read from; wrong by less than 1e-4 up to 0.3 of the rate (measured)."""
FRACTIONS = 1024
"""Places between two samples for which taps are kept; between those they are taken in proportion."""
_BETA = 8.0


@dataclass(frozen=True, slots=True)
class Imperfections:
    """Imperfections of playback, none by default; SI units.

    vertical_error: angle in rad by which the pickup's vertical tracking angle exceeds the cutter's. eccentricity: of
    the hole, m; rpm: turns a minute of the disc. noise: dB re the rms of a 1 kHz sine of 5 cm/s peak lateral, in each
    channel; seed: its seed. facet: length of the burnishing facet along the groove, m.
    """

    vertical_error: float = 0.0
    eccentricity: float = 0.0
    rpm: float = 100.0 / 3.0
    noise: float | None = None
    seed: int = SEED
    facet: float = 0.0


NONE = Imperfections()


def burnished(z: Array, length: Array, block: int, facet: float) -> Array:
    """Return the mean of a wall over the facet that follows the edge (C-5); `length` of a point in m, (blocks,)."""
    level = z - z[0]
    run = np.concatenate([[0.0], np.cumsum(0.5 * (level[1:] + level[:-1]))])
    points = facet / np.repeat(length, block)[: len(z)]
    at = np.arange(len(z), dtype=np.float64)
    mean: Array = (np.interp(at + points, at, run) - run) / points
    return mean + z[0]


def tilted(walls: Array, speed: Array, angle: float, rate: int) -> Array:
    """Return walls (2, frames) as read at an angle: each moment from where the tip's own lift takes it (P-3).

    speed: groove speed at each frame, m/s.
    """
    lift = math.sqrt(0.5) * (walls[0] - walls[1])
    return read_at(walls, lift * math.tan(angle) / speed * rate)


def wowed(x: Array, speed: Array, eccentricity: float, rpm: float, rate: int) -> Array:
    """Return sound (2, frames) of a disc off its centre: its speed swings by eccentricity / radius (P-7)."""
    turns = 2.0 * math.pi * rpm / 60.0
    late = (1.0 - np.cos(turns * np.arange(x.shape[1]) / rate)) * eccentricity / speed
    return read_at(x, late * rate)


def surface_noise(frames: int, rate: int, level: float, seed: int) -> Array:
    """Return noise (2, frames) whose rms is `level` dB re 1: white velocity behind the replay curve (P-15)."""
    sections = _de_emphasis(rate)
    white = np.random.default_rng(seed).normal(0.0, 1.0, (2, frames))
    gain = np.square(np.abs(response(sections, np.arange(0.5, rate / 2.0), rate))).mean()
    noise = biquad.run(white, sections, biquad.fresh(sections, 2), np.empty_like(white))
    out: Array = noise * (10.0 ** (level / 20.0) / math.sqrt(float(gain)))
    return out


def _de_emphasis(rate: float) -> Sections:
    """Return the replay curve on velocity (EQ-3), two sections, of any gain."""
    zero, slow, fast = (math.exp(-1.0 / (tau * rate)) for tau in (T2, T1, T3))
    return np.array([[1.0, -zero, 0.0, -slow, 0.0], [1.0, 0.0, 0.0, -fast, 0.0]])


def read_at(x: Array, offset: Array) -> Array:
    """Return x (2, frames) at frame i + offset[i]; beyond its ends there is silence."""
    around = int(np.abs(offset).max()) + TAPS
    padded = np.pad(x, ((0, 0), (around, around)))
    out = np.empty_like(x)
    for row, read in zip(padded, out, strict=True):
        _read(row, offset + around, _table(), read)
    return out


@cache
def _table() -> Array:
    """Return the taps for each fraction of a sample, (FRACTIONS + 1, TAPS): a sinc under a Kaiser window."""
    fraction = np.arange(FRACTIONS + 1)[:, None] / FRACTIONS
    place = np.arange(TAPS) - (TAPS // 2 - 1) - fraction
    window = np.i0(_BETA * np.sqrt(np.maximum(0.0, 1.0 - (place / (TAPS / 2)) ** 2))) / np.i0(_BETA)
    taps: Array = np.sinc(place) * window
    return taps / taps.sum(axis=1, keepdims=True)


@kernel
def _read(x: Array, place: Array, table: Array, out: Array) -> None:
    """Set out[i] to x at i + place[i], between samples."""
    for i in range(out.shape[0]):
        at = i + place[i]
        whole = int(np.floor(at))
        row = (at - whole) * FRACTIONS
        k = min(int(row), FRACTIONS - 1)
        part = row - k
        total = 0.0
        for j in range(TAPS):
            total += (table[k, j] + part * (table[k + 1, j] - table[k, j])) * x[whole - (TAPS // 2 - 1) + j]
        out[i] = total
