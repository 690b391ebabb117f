"""Energy outside the band that a disc is played in: below 18 Hz and above 20 kHz."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Quantity
from qc_standard.dead import CHANNELS
from qc_standard.spectrum.low_band import LowBandFrames, LowBandLines
from qc_standard.spectrum.spectra import SideSpectra, Spectra

WINDOW = 14
"""Frames of the low band, one every 0.7 s, over which subsonic energy is the mean: 10 s."""
TOP_HZ = 20_000.0
LEAST = 1e-15
"""Mean square below which there is nothing: -150 dBFS."""


def loudest_subsonic(frames: LowBandFrames) -> Quantity | None:
    """Return the greatest level below 18 Hz over 10 s, with its place; None where a side is shorter than a frame."""
    count = min(WINDOW, len(frames.subsonic))
    if not count:
        return None
    sums = np.cumsum(np.vstack([np.zeros(2), frames.subsonic.astype(np.float64)]), axis=0)
    means = (sums[count:] - sums[:-count]) / count
    first, channel = np.unravel_index(int(means.argmax()), means.shape)
    start_s = float(first) * frames.hop_s
    end_s = start_s + (count - 1) * frames.hop_s + frames.length_s
    level = 10.0 * np.log10(max(LEAST, float(means.max())))
    return Quantity(value=level, unit="dBFS", at=At(start_s=start_s, end_s=end_s, channel=CHANNELS[int(channel)]))


def ultrasonic(spectra: Spectra) -> Quantity | None:
    """Return the mean level above 20 kHz of the channel that has more; None where a side is shorter than a frame."""
    if not len(spectra.counts):
        return None
    power = spectra.mean[:, spectra.frequencies >= TOP_HZ].sum(axis=1) + spectra.mean_upper.sum(axis=1)
    channel = int(power.argmax())
    level = 10.0 * np.log10(max(LEAST, float(power[channel])))
    return Quantity(value=level, unit="dBFS", at=At(channel=CHANNELS[channel]))


@dataclass(frozen=True)
class OutsideTheBand(Derived[tuple[Quantity | None, Quantity | None]]):
    """Levels below 18 Hz and above 20 kHz."""

    id: ClassVar[str] = "spectrum.outside"
    publishes: ClassVar[Mapping[str, str]] = {"spectrum.subsonic": "dBFS", "spectrum.ultrasonic": "dBFS"}
    meanings: ClassVar[Mapping[str, str]] = {
        "spectrum.subsonic": "Level from 1.5 to 18 Hz, rms over the 10 s that have most, of the channel with more.",
        "spectrum.ultrasonic": "Level above 20 kHz, rms over the whole side, of the channel with more.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the low band and the spectra."""
        return LowBandLines(), SideSpectra()

    def work(self, measured: Measurements) -> tuple[Quantity | None, Quantity | None]:
        """Compute both levels."""
        return loudest_subsonic(measured[LowBandLines()]), ultrasonic(Spectra(measured[SideSpectra()]))

    def publish(self, result: tuple[Quantity | None, Quantity | None]) -> Mapping[str, Quantity]:
        """Return the levels of a side that is long enough."""
        named = zip(("spectrum.subsonic", "spectrum.ultrasonic"), result, strict=True)
        return {name: quantity for name, quantity in named if quantity is not None}
