"""Correlation of the channels by octave, 31.5 Hz to 16 kHz, over every 10 s."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Curve, Derived, Measurements, Need, Quantity
from qc.plugin_api.meters import sliding
from qc_standard.spectrum.spectra import SideSpectra, Spectra

OCTAVES = ("31_hz", "63_hz", "125_hz", "250_hz", "500_hz", "1_khz", "2_khz", "4_khz", "8_khz", "16_khz")
"""Names in measurements of the octaves of the spectra."""
DRAWN = ("63_hz", "1_khz", "8_khz")
"""Octaves whose correlation is drawn."""
WINDOW_S = 10.0
SILENT = 1e-10
"""Mean square in an octave of the quieter channel up to which its correlation means nothing: -100 dBFS rms."""
BELOW_MEAN = 1e-3
"""Power in an octave over its mean along the side, from which 10 s count: -30 dB. What is quieter is a pause."""


@dataclass(frozen=True, eq=False)
class OctaveCorrelations:
    """The correlation of every window in each octave, (windows, 10), NaN where it means nothing."""

    values: NDArray[np.float64]
    start_s: float
    """middle of the first window, file seconds"""
    step_s: float
    window_s: float

    def median(self, octave: int) -> float | None:
        """Return the median over the side, None where no window counts."""
        found = self.values[:, octave]
        return None if np.isnan(found).all() else float(np.nanmedian(found))

    def least(self, octave: int) -> Quantity | None:
        """Return the least value with its place, None where no window counts."""
        found = self.values[:, octave]
        if np.isnan(found).all():
            return None
        at = int(np.nanargmin(found))
        middle = self.start_s + at * self.step_s
        place = At(start_s=max(0.0, middle - 0.5 * self.window_s), end_s=middle + 0.5 * self.window_s)
        return Quantity(value=float(found[at]), unit="1", at=place)


def octave_correlations(spectra: Spectra) -> OctaveCorrelations:
    """Return the correlation over the spectra of every 10 s; of a shorter side, over all of them."""
    step_s, length_s = spectra.hop / spectra.rate, spectra.size / spectra.rate
    sums = spectra.octaves.astype(np.float64)
    width = min(len(sums), max(1, round((WINDOW_S - length_s) / step_s) + 1))
    if not width:
        return OctaveCorrelations(np.zeros((0, len(OCTAVES))), 0.0, step_s, 0.0)
    total = sliding(sums.reshape(len(sums), -1), width).reshape(-1, *sums.shape[1:]) / width
    quieter = total[:, :2].min(axis=1)
    counts = (quieter > SILENT) & (total[:, :2].max(axis=1) > BELOW_MEAN * sums[:, :2].mean(axis=0).max(axis=0))
    scale = np.sqrt(total[:, 0]) * np.sqrt(total[:, 1])
    values = np.where(counts, np.clip(total[:, 2] / np.where(counts, scale, 1.0), -1.0, 1.0), np.nan)
    window_s = (width - 1) * step_s + length_s
    return OctaveCorrelations(values, 0.5 * window_s, step_s, window_s)


def _said(octave: str) -> str:
    number, unit = octave.split("_")
    return f"{number} {'Hz' if unit == 'hz' else 'kHz'}".replace("31 Hz", "31.5 Hz")


@dataclass(frozen=True)
class OctaveCorrelation(Derived[OctaveCorrelations | None]):
    """The correlation of the channels by octave along a side."""

    id: ClassVar[str] = "stereo.octave-correlation"
    publishes: ClassVar[Mapping[str, str]] = {
        f"stereo.correlation_{kind}{octave}": "1" for octave in OCTAVES for kind in ("", "least_")
    }
    meanings: ClassVar[Mapping[str, str]] = {
        **{
            f"stereo.correlation_{octave}": (
                f"Correlation of the channels in the octave about {_said(octave)}: the median of every 10 s that are "
                "no pause, from a spectrum every second; none for a file of one channel, or below -100 dBFS there."
            )
            for octave in OCTAVES
        },
        **{
            f"stereo.correlation_least_{octave}": f"The least of these 10 s about {_said(octave)}."
            for octave in OCTAVES
        },
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra of the side."""
        return (SideSpectra(),)

    def work(self, measured: Measurements) -> OctaveCorrelations | None:
        """Compute the correlations; None for a file of one channel."""
        return None if measured.stream.mono else octave_correlations(Spectra(measured[SideSpectra()]))

    def publish(self, result: OctaveCorrelations | None) -> Mapping[str, Quantity]:
        """Return median and least of each octave that has one."""
        numbers: dict[str, Quantity] = {}
        if result is None:
            return numbers
        for number, octave in enumerate(OCTAVES):
            median, least = result.median(number), result.least(number)
            if median is not None and least is not None:
                numbers[f"stereo.correlation_{octave}"] = Quantity(value=median, unit="1")
                numbers[f"stereo.correlation_least_{octave}"] = least
        return numbers

    def curves(self, result: OctaveCorrelations | None) -> Mapping[str, Curve]:
        """Return the correlation of a low, a middle and a high octave along the side."""
        if result is None or not len(result.values):
            return {}
        return {
            f"stereo.correlation_{octave}": Curve(
                result.values[:, OCTAVES.index(octave)], "1", result.start_s, result.step_s,
                f"Correlation about {_said(octave)}, 10 s", f"correlation {_said(octave)}", least=True,
            )
            for octave in DRAWN
        }  # fmt: skip
