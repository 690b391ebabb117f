"""Balance of the channels by octave: numbers that tell left from right, also when the whole side is in balance."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

from qc.plugin_api import Chain, Derived, Measurements, Need, Quantity
from qc_standard.spectrum.spectra import SideSpectra, Spectra

OCTAVES = {
    "63_hz": 63.0, "125_hz": 125.0, "250_hz": 250.0, "500_hz": 500.0, "1_khz": 1_000.0, "2_khz": 2_000.0,
    "4_khz": 4_000.0, "8_khz": 8_000.0,
}  # fmt: skip
"""Name of an octave in a measurement -> its middle in Hz."""
NAMES = tuple(f"stereo.balance_{octave}" for octave in OCTAVES)
SILENT = 1e-10
"""Mean square in an octave of the quieter channel up to which its balance means nothing: -100 dBFS rms."""


@dataclass(frozen=True)
class OctaveBalance(Derived[Mapping[str, float]]):
    """How much more energy the right channel has than the left, by octave from 63 Hz to 8 kHz."""

    id: ClassVar[str] = "stereo.octave-balance"
    publishes: ClassVar[Mapping[str, str]] = dict.fromkeys(NAMES, "dB")
    meanings: ClassVar[Mapping[str, str]] = {
        name: (
            f"How much more energy the right channel has than the left in the octave about {octave.replace('_', ' ')}, "
            "over the whole file, from a spectrum every second; none where a channel is below -100 dBFS there."
        ).replace(" hz", " Hz").replace(" khz", " kHz")
        for name, octave in zip(NAMES, OCTAVES, strict=True)
    }  # fmt: skip

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra of the side."""
        return (SideSpectra(),)

    def work(self, measured: Measurements) -> Mapping[str, float]:
        """Compute the balance of each octave in dB; none for a file of one channel."""
        if measured.stream.mono:
            return {}
        spectra = Spectra(measured[SideSpectra()])
        found = {}
        for name, middle in zip(NAMES, OCTAVES.values(), strict=True):
            left, right = spectra.mean[:, spectra.bins(middle / math.sqrt(2.0), middle * math.sqrt(2.0))].sum(axis=1)
            if min(left, right) > SILENT:
                found[name] = 10.0 * math.log10(right / left)
        return found

    def publish(self, result: Mapping[str, float]) -> Mapping[str, Quantity]:
        """Return the balances in dB."""
        return {name: Quantity(value=value, unit="dB") for name, value in result.items()}
