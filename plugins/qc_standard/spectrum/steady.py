"""Steady lines above 10 kHz, such as the line frequency of a television set beside the recorder or its camera.

A line counts that stands out of the noise beside it in nearly all segments of a side, which no note of music does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Quantity
from qc_standard.dead import CHANNELS
from qc_standard.spectrum.hann import peak_shift
from qc_standard.spectrum.spectra import SideSpectra, Spectra

LOWEST_HZ, HIGHEST_HZ = 10_000.0, 23_500.0
BESIDE = 40
"""Bins on either side of a line whose median is the noise beside it: 230 Hz ..."""
APART = 5
"""... without the nearest, which belong to the line itself."""
STANDS_OUT_DB = 12.0
"""dB by which a line stands out of the noise, as the mean of the segments in dB (practice)."""
MOSTLY = 0.8
"""Part of the segments in which it stands out by half of that at the least (practice)."""
FEWEST = 6
"""Spectra without which nothing is said: 6 s."""
BELOW_LOUDEST = 10.0**-1.5
"""Power over that of the loudest second up to which a line is no programme: -15 dB (practice)."""
SILENT = 1e-18
"""Power a bin up to which there is only digital silence, and the rounding of it."""
LEAST = 1e-13
"""Mean square of a line, at the least: -130 dBFS. What lies below is the rounding of the transform."""
MOST = 3
"""Lines that are reported, the strongest."""
NAMED = {15_625.0: "the line frequency of 625-line television", 15_734.27: "the line frequency of 525-line television"}
NAMED_WITHIN_HZ = 31.0
"""Hz about such a frequency that bear its name: a tape that runs 0.2 % fast or slow."""


@dataclass(frozen=True, slots=True)
class SteadyLine:
    """A steady line of one channel: its mean square over the side, and its ratio to the noise beside it by thirds."""

    hz: float
    channel: str | None
    start_s: float
    end_s: float
    power: float
    ratios_db: tuple[float, float, float]
    """dB in which the line stands out in the first, the middle and the last third of the side"""

    @property
    def name(self) -> str:
        """Name of the line in a sentence."""
        for hz, name in NAMED.items():
            if abs(self.hz - hz) <= NAMED_WITHIN_HZ:
                return f"the steady line at {self.hz:,.0f} Hz, {name},"
        return f"the steady line at {self.hz:,.0f} Hz"

    def quantity(self) -> Quantity:
        """Return the level in dBFS rms, at its place."""
        at = At(start_s=self.start_s, end_s=self.end_s, channel=self.channel)
        return Quantity(value=10.0 * np.log10(self.power), unit="dBFS", at=at)


def beside_db(level: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the median in dB of the bins beside each, of levels (..., bins); the outermost take their neighbour's."""
    windows = np.lib.stride_tricks.sliding_window_view(level, 2 * BESIDE + 1, axis=-1)
    beside = np.median(np.delete(windows, slice(BESIDE - APART, BESIDE + APART + 1), axis=-1), axis=-1)
    edge = [(0, 0)] * (level.ndim - 1) + [(BESIDE, BESIDE)]
    padded: NDArray[np.float64] = np.pad(beside, edge, mode="edge")
    return padded


def steady_lines(spectra: Spectra) -> tuple[SteadyLine, ...]:
    """Return the strongest steady lines of a side, the lowest first."""
    power = spectra.power.astype(np.float64)
    band = spectra.bins(LOWEST_HZ, min(HIGHEST_HZ, 0.49 * spectra.rate))
    power = power[:, :, band]
    sounding = np.flatnonzero(power.mean(axis=2).max(axis=1) > SILENT) if power.shape[2] else np.zeros(0, np.int64)
    if spectra.counts[sounding].sum() < FEWEST or power.shape[2] <= 2 * BESIDE:
        return ()
    level = 10.0 * np.log10(np.maximum(power[sounding], 0.1 * SILENT))
    loudest = float(spectra.levels.max(initial=0.0))
    found: list[SteadyLine] = []
    for channel, name in enumerate(CHANNELS):
        mean = level[:, channel].mean(axis=0)
        above = mean - beside_db(mean)
        for at in np.flatnonzero(above >= STANDS_OUT_DB).tolist():
            if not APART <= at < len(mean) - APART or mean[at] < mean[at - APART : at + APART + 1].max():
                continue
            line = _line(spectra, sounding, level[:, channel], power[sounding, channel], at, band.start, name)
            if line is not None and LEAST <= line.power <= loudest * BELOW_LOUDEST:
                found.append(line)
    strongest = sorted(_of_both(found, spectra.bin_hz), key=lambda line: -line.power)[:MOST]
    return tuple(sorted(strongest, key=lambda line: line.hz))


def _line(
    spectra: Spectra, sounding: NDArray[np.int64], level: NDArray[np.float64], power: NDArray[np.float64],
    at: int, first: int, channel: str,
) -> SteadyLine | None:  # fmt: skip
    """Return the line at a bin of a channel, None where it does not stand out in nearly all segments."""
    around = slice(max(0, at - BESIDE), at + BESIDE + 1)
    noise = np.delete(level[:, around], np.arange(at - APART, at + APART + 1) - around.start, axis=1)
    beside = np.median(noise, axis=1)
    ratios = level[:, at] - beside
    there = np.flatnonzero(ratios >= STANDS_OUT_DB / 2.0)
    if len(there) < MOSTLY * len(ratios):
        return None
    mean = np.exp(np.log(np.maximum(power[:, at - 2 : at + 3], 0.1 * SILENT)).mean(axis=0))
    total = float(np.median(power[:, at - 2 : at + 3].sum(axis=1) - 5.0 * 10.0 ** (beside / 10.0)))
    thirds = [float(np.median(part)) for part in np.array_split(ratios, 3)]
    return SteadyLine(
        float((first + at + peak_shift(mean[1:4])) * spectra.bin_hz), channel,
        float(spectra.starts_s[sounding[there[0]]]), float(spectra.ends_s[sounding[there[-1]]]),
        max(total, SILENT), (thirds[0], thirds[1], thirds[2]),
    )  # fmt: skip


def _of_both(lines: list[SteadyLine], bin_hz: float) -> list[SteadyLine]:
    """Merge lines of both channels at one frequency; within 10 dB of each other they belong to both."""
    merged: list[SteadyLine] = []
    for line in sorted(lines, key=lambda line: -line.power):
        twin = next((other for other in merged if abs(other.hz - line.hz) < bin_hz), None)
        if twin is None:
            merged.append(line)
        elif line.power >= 0.1 * twin.power:
            both = SteadyLine(twin.hz, None, twin.start_s, twin.end_s, twin.power, twin.ratios_db)
            merged[merged.index(twin)] = both
    return merged


@dataclass(frozen=True)
class SteadyLines(Derived[tuple[SteadyLine, ...]]):
    """Steady lines above 10 kHz."""

    id: ClassVar[str] = "spectrum.steady-lines"
    publishes: ClassVar[Mapping[str, str]] = {
        "line.level": "dBFS", "line.frequency": "Hz",
        "line.ratio_start": "dB", "line.ratio_middle": "dB", "line.ratio_end": "dB",
    }  # fmt: skip
    meanings: ClassVar[Mapping[str, str]] = {
        "line.level": "Level of the strongest steady line above 10 kHz, rms; none where there is none.",
        "line.frequency": "Frequency of that line.",
        "line.ratio_start": "What it stands out of the noise beside it by, in 6 Hz, in the first third of the side.",
        "line.ratio_middle": "The same in the middle third: where it falls, the top of the sound fell with it.",
        "line.ratio_end": "The same in the last third.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra."""
        return (SideSpectra(),)

    def work(self, measured: Measurements) -> tuple[SteadyLine, ...]:
        """Find the lines."""
        return steady_lines(Spectra(measured[SideSpectra()]))

    def publish(self, result: tuple[SteadyLine, ...]) -> Mapping[str, Quantity]:
        """Return the numbers of the strongest line."""
        if not result:
            return {}
        line = max(result, key=lambda line: line.power)
        ratios = dict(zip(("start", "middle", "end"), line.ratios_db, strict=True))
        numbers = {f"line.ratio_{third}": Quantity(value=ratio, unit="dB") for third, ratio in ratios.items()}
        return numbers | {"line.level": line.quantity(), "line.frequency": Quantity(value=line.hz, unit="Hz")}
