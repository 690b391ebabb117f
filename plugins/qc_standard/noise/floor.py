"""The noise floor of a side and its slope: the quietest second that is steady and has no tones.

Dither without shaping is flat; tape hiss is flat or rises above 1 kHz, and the noise of a disc falls (practice).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Programme, Quantity
from qc_standard.edges.noise import SECOND, TENTH, is_steady
from qc_standard.spectrum.spectra import DIGITAL_SILENCE, SideSpectra, Spectra

LOW_HZ, HIGH_HZ = 20.0, 20_000.0
SLOPE_HZ = (1_000.0, 10_000.0)
"""Hz between which the slope is fitted: above most hum and below the edge of most files."""
THIRDS = 10
"""Thirds of an octave that the fit has at the most."""
AS_QUIET = 2.0
"""Power over that of the quietest spectrum up to which others count as well: 3 dB."""
NOISE_HZ = tuple(315.0 * 2.0 ** (third / 3.0) for third in range(15))
"""Middles of the thirds of an octave, to 8 kHz, in which noise and tones are separated."""
NO_TONES, MOSTLY = 2.2, 0.8
"""Mean over median of the bins of a third, in four of five thirds: 1.4 for noise, 5 and more for tones (practice)."""
HIGHEST = 10.0**-4.5
"""Mean square above which no noise floor lies: -45 dBFS, as for the programme (practice)."""


@dataclass(frozen=True, slots=True)
class FoundFloor:
    """The quietest place of a side: its level in dBFS, its second, and the slope in dB an octave."""

    level: float
    start_s: float
    end_s: float
    slope: float | None
    """None where the level is not that of steady noise, and the floor lies below it"""


def noise_floor(spectra: Spectra, tenths: NDArray[np.float64]) -> FoundFloor | None:
    """Return the noise floor of the channel with more noise; None where all is digital silence.

    `tenths` (n,) is the mean square of each tenth of a second, which is steady where there is only noise.
    """
    band = spectra.bins(LOW_HZ, HIGH_HZ)
    power = spectra.quiet[:, :, band].sum(axis=2, dtype=np.float64)
    levels = power.max(axis=1, initial=0.0)
    (there,) = np.nonzero(levels > DIGITAL_SILENCE)
    if not len(there):
        return None
    steady = np.array([_is_steady(spectra, int(at), tenths) for at in spectra.quiet_at])
    steady &= [_has_no_tones(spectra, frame[frame.sum(axis=1).argmax()]) for frame in spectra.quiet]
    steady &= (levels > DIGITAL_SILENCE) & (levels <= HIGHEST)
    chosen = np.flatnonzero(steady) if steady.any() else there[levels[there].argmin()][None]
    chosen = chosen[levels[chosen] <= AS_QUIET * levels[chosen].min()]
    at = int(spectra.quiet_at[chosen[levels[chosen].argmin()]])
    mean = power[chosen].mean(axis=0)
    channel = int(mean.argmax())
    slope = _slope(spectra, spectra.quiet[chosen, channel]) if steady.any() else None
    start_s = at * spectra.hop / spectra.rate
    return FoundFloor(10.0 * math.log10(float(mean[channel])), start_s, start_s + spectra.size / spectra.rate, slope)


def _has_no_tones(spectra: Spectra, power: NDArray[np.float32]) -> bool:
    """Whether the bins (4097,) of a spectrum scatter no more than those of noise, in most thirds of an octave."""
    width = 2.0 ** (1.0 / 6.0)
    thirds = [power[spectra.bins(middle / width, middle * width)].astype(np.float64) for middle in NOISE_HZ]
    ratios = [float(third.mean() / max(1e-30, np.median(third))) for third in thirds if len(third)]
    return bool(ratios) and float(np.quantile(ratios, MOSTLY)) <= NO_TONES


def _is_steady(spectra: Spectra, number: int, tenths: NDArray[np.float64]) -> bool:
    """Whether the second about a spectrum is steady."""
    middle = 10.0 * (number * spectra.hop + 0.5 * spectra.size) / spectra.rate
    first = min(max(0, round(middle) - SECOND // 2), len(tenths) - SECOND)
    return first >= 0 and is_steady(tenths[first : first + SECOND])


def _slope(spectra: Spectra, power: NDArray[np.float32]) -> float | None:
    """Return the slope of some spectra (count, bins) in dB an octave, from the median of each third of an octave."""
    octaves: list[float] = []
    density: list[float] = []
    for third in range(THIRDS):
        middle = SLOPE_HZ[0] * 2.0 ** ((third + 0.5) / 3.0)
        bins = spectra.bins(middle * 2.0 ** (-1.0 / 6.0), middle * 2.0 ** (1.0 / 6.0))
        if bins.stop >= min(power.shape[1], 0.45 * spectra.size) or middle > SLOPE_HZ[1]:
            break
        octaves.append(third / 3.0)
        density.append(10.0 * math.log10(max(1e-30, float(np.median(power[:, bins])))))
    return float(np.polyfit(octaves, density, 1)[0]) if len(octaves) > THIRDS // 2 else None


@dataclass(frozen=True)
class NoiseFloor(Derived[FoundFloor | None]):
    """Level and slope of the noise in the quietest second."""

    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "noise.floor"
    publishes: ClassVar[Mapping[str, str]] = {"noise.floor": "dBFS", "noise.slope": "dB"}
    meanings: ClassVar[Mapping[str, str]] = {
        "noise.floor": (
            "Level of the steady noise where the side is quietest without digital silence (-100 dBFS), 20 Hz to 20 kHz "
            "unweighted, rms of the channel with more; with a bound where no quiet second is steady noise, none in "
            "silence."
        ),
        "noise.slope": (
            "Slope of that noise from 1 to 10 kHz in dB an octave: 0 for dither without shaping, most often 0 or more "
            "for tape hiss and below 0 for a transfer from a disc; none where no quiet second is steady noise."
        ),
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra and the programme, whose 10 ms say what is steady."""
        return SideSpectra(), Programme(self.top)

    def work(self, measured: Measurements) -> FoundFloor | None:
        """Find the floor."""
        power = measured[Programme(self.top)].power.max(axis=0, initial=0.0).astype(np.float64)
        whole = len(power) // TENTH
        return noise_floor(Spectra(measured[SideSpectra()]), power[: whole * TENTH].reshape(whole, TENTH).mean(axis=1))

    def publish(self, result: FoundFloor | None) -> Mapping[str, Quantity]:
        """Return the level, and the slope of steady noise."""
        if result is None:
            return {}
        at = At(start_s=result.start_s, end_s=result.end_s)
        bound = "<" if result.slope is None else None
        numbers = {"noise.floor": Quantity(value=result.level, unit="dBFS", at=at, bound=bound)}
        if result.slope is not None:
            numbers["noise.slope"] = Quantity(value=result.slope, unit="dB", at=at)
        return numbers
