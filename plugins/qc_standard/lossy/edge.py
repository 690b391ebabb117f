"""A steep edge of the spectrum from 10 kHz on, as a lossy coder leaves it at the frequency up to which it codes.

Music fades over many kilohertz. The filter of a converter is as steep as a coder, but lies near half of a sample rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc_standard.spectrum.spectra import BAND, Spectra

LOW_HZ, HIGH_HZ = 10_000.0, 20_700.0
"""Where an edge may lie; the filters of converters begin above."""
WIDE, APART = 4, 4
"""Bands of 16 bins, some 90 Hz, that are the mean level on each side of an edge, and those between the two sides."""
STEEP_DB = 30.0
"""dB that the sound falls by across such an edge, in the median of the segments (practice): music falls by up to 19."""
LOUD_DB = -110.0
"""dBFS a band below the edge that a segment needs."""


@dataclass(frozen=True, slots=True)
class CoderEdge:
    """Frequency of the edge, and the fall across it, both the median of the segments."""

    hz: float
    drop_db: float


def steep_edge(spectra: Spectra, start_s: float, end_s: float) -> CoderEdge | None:
    """Return the edge between two seconds of a side, None where there is none."""
    there = (spectra.ends_s > start_s) & (spectra.starts_s < end_s)
    if not there.any():
        return None
    fine = spectra.power[there][:, :, 1:].reshape(int(there.sum()), 2, -1, BAND).sum(axis=3)
    power = np.concatenate([fine, spectra.upper[there]], axis=2).max(axis=1)
    level = 10.0 * np.log10(power.astype(np.float64) + 1e-17)
    width = BAND * spectra.bin_hz
    means = np.lib.stride_tricks.sliding_window_view(level, WIDE, axis=1).mean(axis=2)
    first, end = round(LOW_HZ / width) - APART // 2, round(HIGH_HZ / width) - APART // 2
    below, above = means[:, first - WIDE : end - WIDE], means[:, first + APART : end + APART]
    loud = below.max(axis=1, initial=-200.0) > LOUD_DB
    if not loud.any():
        return None
    falls = (below - above)[loud]
    steepest = falls.argmax(axis=1)
    row = np.arange(len(steepest))
    halfway = 0.5 * (below + above)[loud][row, steepest]
    across = level[loud][row[:, None], first + steepest[:, None] + np.arange(APART + 1)]
    at = first + steepest + (across < halfway[:, None]).argmax(axis=1)
    edge = CoderEdge(float(np.median(at)) * width, float(np.median(falls.max(axis=1))))
    return edge if edge.drop_db >= STEEP_DB else None
