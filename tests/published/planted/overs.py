"""Overs between samples: sines at a quarter of the rate, whose crests lie half-way between samples."""

from __future__ import annotations

import numpy as np

from support.planted_faults import Place, PlantedFault, Samples

LASTS_S, EVERY_S, FIRST_S, PLACES = 0.02, 1.2, 3.0, 8
"""Eight bursts of 20 ms, more than half a second apart, in the first track."""


def overs(samples: Samples, rate: int, dbtp: float, seed: int) -> tuple[Samples, Place]:
    """Replace moments of the music on one channel by bursts that reach a true peak in dBTP."""
    changed, channel = samples.copy(), seed % 2
    n = np.arange(round(LASTS_S * rate))
    window = np.sin(np.pi * n / n.size) ** 2
    burst = 10.0 ** (dbtp / 20.0) * np.sin(0.5 * np.pi * n + 0.25 * np.pi)
    for place in range(PLACES):
        at = round((FIRST_S + place * EVERY_S) * rate)
        part = changed[channel, at : at + n.size]
        part += window * (burst - part)
    return changed, (FIRST_S, FIRST_S + (PLACES - 1) * EVERY_S + LASTS_S)


FAULTS = (
    PlantedFault(
        "eight waves above full scale between samples, by their true peak",
        "file.inter-sample-overs",
        (-0.5, -0.1, 0.0, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 3.0),
        "dBTP",
        overs,
    ),
)
