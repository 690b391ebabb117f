"""A file of a high sample rate whose sound ends where a lower rate does.

A converter of sample rates cuts everything above half the lower rate within a kilohertz or two. Music by itself fades
away over many kilohertz, and its noise goes on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np

from qc.plugin_api import Chain, Derived, Measurements, Need, Quantity
from qc_standard.spectrum.spectra import BAND, SideSpectra, Spectra

ORIGINAL_RATES = (32_000, 44_100, 48_000, 88_200, 96_000)
LEAST_FACTOR = 1.8
"""Rate of the file over the original one, at the least."""
FAR, BELOW, ABOVE = (0.66, 0.76), (0.80, 0.90), (1.02, 1.06)
"""Bands compared, in parts of half the original rate."""
STEEPER_DB = 12.0
"""dB by which the fall across the edge exceeds the fall of the sound before it (practice)."""
RETURNS_DB = 6.0
"""dB by which nothing above the edge may exceed the band right above it (practice)."""
WHOLE = 0.7
"""Part of the greatest fall that the lowest rate has to show: less is the beginning of a higher rate's filter."""
FEWEST = 2
"""Spectra that the mean needs at the least."""
LEAST = 1e-17
"""Power a band up to which there is digital silence or its rounding: half a bit in 24 is twenty times as much."""


@dataclass(frozen=True, slots=True)
class Edge:
    """Original rate, and the fall in dB across half of it."""

    rate: int
    drop_db: float


def lowest_edge(spectra: Spectra) -> Edge | None:
    """Return the edge of the lowest rate at which the sound ends, None where it ends at none."""
    fine = spectra.mean[:, 1:].reshape(2, -1, BAND).sum(axis=2)
    power = np.concatenate([fine, spectra.mean_upper], axis=1).max(axis=0)
    centres = spectra.bin_hz * BAND * (np.arange(len(power)) + 0.5)
    if spectra.counts.sum() < FEWEST or power.max() <= LEAST:
        return None
    level = 10.0 * np.log10(np.maximum(power, LEAST))

    def between(low: float, high: float) -> float:
        return float(np.median(level[(centres >= low) & (centres < high)]))

    found: list[Edge] = []
    for rate in ORIGINAL_RATES:
        half = rate / 2.0
        if spectra.rate < LEAST_FACTOR * rate:
            continue
        far, below, above = (between(low * half, high * half) for low, high in (FAR, BELOW, ABOVE))
        beyond = level[(centres > ABOVE[1] * half) & (centres < 0.96 * spectra.rate / 2.0)]
        natural = max(0.0, far - below)
        if below - above - natural >= STEEPER_DB and beyond.max(initial=-200.0) <= above + RETURNS_DB:
            found.append(Edge(rate, below - above))
    most = max((edge.drop_db for edge in found), default=0.0)
    return next((edge for edge in found if edge.drop_db >= WHOLE * most), None)


@dataclass(frozen=True)
class RaisedRate(Derived[Edge | None]):
    """The edge of a file whose sample rate was raised."""

    id: ClassVar[str] = "spectrum.raised-rate"
    publishes: ClassVar[Mapping[str, str]] = {"spectrum.edge": "Hz", "spectrum.edge_drop": "dB"}
    meanings: ClassVar[Mapping[str, str]] = {
        "spectrum.edge": "Half the lower sample rate at which the sound ends at once; none where it does not.",
        "spectrum.edge_drop": "What the sound falls by across that edge.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra."""
        return (SideSpectra(),)

    def work(self, measured: Measurements) -> Edge | None:
        """Find the edge."""
        return lowest_edge(Spectra(measured[SideSpectra()]))

    def publish(self, result: Edge | None) -> Mapping[str, Quantity]:
        """Return the edge and the fall."""
        if result is None:
            return {}
        return {
            "spectrum.edge": Quantity(value=result.rate / 2.0, unit="Hz"),
            "spectrum.edge_drop": Quantity(value=result.drop_db, unit="dB"),
        }
