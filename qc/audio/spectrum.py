"""Compute the long-term spectrum of a side, and its steady tones, from the audio that may still be read again."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.audio.excerpts import MOST_S, Excerpts
from qc.model.errors import SecondLookError
from qc.model.figures import SpectralLine, Spectrum

Array = NDArray[np.float64]

PIECES, PIECE_S = 24, 1.0
"""Pieces at the most, spread evenly over the side, and the seconds of one."""
SEGMENTS = 3
"""Segments in a second: bins lie 3 Hz apart."""
BANDS = 12
"""Bands an octave."""
LOWEST, HIGHEST = 20.0, 20_000.0
ENOUGH = 6
"""Least number of pieces from which steady tones are reported."""
ABOVE = 18.0
"""Least dB of a steady tone above the median within a quarter of an octave (practice)."""
FAINT = -110.0
"""dBFS below which no tone is reported."""
MOST_LINES = 8
_LEAST = 1e-16


def spectrum(look: Excerpts) -> Spectrum | None:
    """Compute the spectrum; None where the side is shorter than a piece, or may not be read any more."""
    stream = look.stream
    length = stream.frames / stream.rate
    count = min(PIECES, int(length / PIECE_S), int((MOST_S - look.seconds) / PIECE_S))
    if count < 1:
        return None
    room = (length - PIECE_S) / max(1, count - 1)
    try:
        powers = np.array([_power(look(at * room, at * room + PIECE_S), stream.rate) for at in range(count)])
    except SecondLookError:
        return None
    size = 2 * (powers.shape[1] - 1)
    hertz = np.arange(powers.shape[1]) * stream.rate / size
    lines = steady(powers, hertz) if count >= ENOUGH else ()
    middles, levels = bands(powers.mean(axis=0), hertz)
    return Spectrum(middles, levels, lines, count * PIECE_S)


def _power(piece: Array, rate: int) -> Array:
    """Mean square by bin, (bins,): a sine of full scale in both channels comes to half, spread over three bins."""
    size = 2 * (rate // (2 * SEGMENTS))
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(size) / size)
    starts = range(0, max(1, piece.shape[1] - size + 1), size // 2)
    found = [
        np.abs(np.fft.rfft(piece[:, at : at + size] * window, n=size)) ** 2
        for at in starts
        if at + size <= piece.shape[1]
    ]
    power: Array = 2.0 * np.mean(found, axis=(0, 1)) / (size * np.sum(window**2))
    return power


def bands(power: Array, hertz: Array) -> tuple[Array, Array]:
    """Sum mean squares by band, those without a bin left out: middles in Hz, and dBFS of a sine as strong."""
    count = int(BANDS * math.log2(HIGHEST / LOWEST)) + 1
    middles = LOWEST * 2.0 ** (np.arange(count) / BANDS)
    edges = np.concatenate([middles * 2.0 ** (-0.5 / BANDS), middles[-1:] * 2.0 ** (0.5 / BANDS)])
    at = np.searchsorted(hertz, edges)
    total = np.concatenate([[0.0], np.cumsum(power)])
    sums = total[at[1:]] - total[at[:-1]]
    there = at[1:] > at[:-1]
    levels: Array = 10.0 * np.log10(np.maximum(2.0 * sums, _LEAST))
    return middles[there], levels[there]


def steady(powers: Array, hertz: Array) -> tuple[SpectralLine, ...]:
    """Return the tones found in all pieces but at most one, the strongest first; `powers` is (pieces, bins)."""
    always = np.sort(powers, axis=0)[1]
    step = hertz[1]
    levels = 10.0 * np.log10(np.maximum(2.0 * 1.5 * always, _LEAST))  # a sine leaves two thirds of itself in its bin
    found = []
    for index in range(2, len(hertz) - 2):
        level = levels[index]
        if not LOWEST <= hertz[index] <= HIGHEST or level < FAINT or level < levels[index - 2 : index + 3].max():
            continue
        reach = max(8, int(hertz[index] * (2.0**0.25 - 1.0) / step))
        nearby = levels[max(1, index - reach) : index + reach + 1]
        if (above := level - float(np.median(nearby))) > ABOVE:
            found.append(SpectralLine(_peak(levels, index) * step, float(level), above))
    return tuple(sorted(found, key=lambda line: -line.level)[:MOST_LINES])


def _peak(levels: Array, index: int) -> float:
    """Return the position of a peak between bins, from the parabola through three of them."""
    low, at, high = levels[index - 1 : index + 2]
    bend = low - 2.0 * at + high
    return index if bend == 0.0 else index + 0.5 * float(low - high) / float(bend)
