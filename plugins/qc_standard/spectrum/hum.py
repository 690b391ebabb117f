"""Mains hum: lines at 50 or 60 Hz and their multiples, steady where the music is quiet.

A side is measured by stretches of 40 s. In the quietest fifth of its frames of 1.4 s, a line counts that stands out
of what lies beside it, lies within a third of a hertz of the mains' multiple, and keeps its level. No note of a scale
tuned to 440 Hz lies there: the nearest to 50 Hz are 49.0 and 51.9, to 60 Hz 58.3 and 61.7 Hz.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Quantity
from qc_standard.spectrum.low_band import LINES, LowBandFrames, LowBandLines
from qc_standard.spectrum.spectra import SideSpectra

Array = NDArray[np.float64]

STRETCH = 60
"""Frames of a stretch, 40 s; in the fifth of them with the least beside the lines, 8 s, hum is measured (practice)."""
FEWEST = 4
"""Frames that this needs at the least: 3.4 s."""
STANDS_OUT = 10.0
"""Power of a line over that of noise as strong as what lies beside it: 10 dB in the median frame (practice)."""
OFF_HZ = 0.35
"""Hz by which a line may lie beside the mains frequency's multiple (practice; the mains keep 0.2 Hz at 50 Hz)."""
WANDERS_HZ = 0.25
"""Hz between the quartiles of a line's frequency."""
SWINGS_DB = 6.0
"""dB between the least and the greatest tenth of a line's level (practice)."""
BELOW_LOUDEST = 10.0**-1.5
"""Power over that of the loudest second up to which a line is hum and no music: -15 dB (practice)."""
LEAST = 1e-12
"""Mean square below which there is no line: -120 dBFS."""
FAMILIES = {50: (50.0, 100.0, 150.0, 200.0, 250.0, 300.0), 60: (60.0, 120.0, 180.0, 240.0, 300.0)}


@dataclass(frozen=True, slots=True)
class HumStretch:
    """Hum of one family between two file seconds: mean square of its lines, and the lines in Hz."""

    family: int
    channel: str | None
    start_s: float
    end_s: float
    power: float
    lines: tuple[float, ...]

    def quantity(self) -> Quantity:
        """Return the level in dBFS rms, at its place."""
        at = At(start_s=self.start_s, end_s=self.end_s, channel=self.channel)
        return Quantity(value=10.0 * np.log10(self.power), unit="dBFS", at=at)


def steady_lines(frames: LowBandFrames, channel: int, part: slice, most: float) -> dict[float, float]:
    """Return the mean square of each line of mains hum in some frames of a channel, by its frequency.

    `most` is the mean square above which a line is music.
    """
    found: dict[float, float] = {}
    for number, hz in enumerate(LINES):
        line = frames.line[part, channel, number].astype(np.float64)
        beside = frames.beside[part, channel, number].astype(np.float64)
        sounding = np.flatnonzero(line + beside > LEAST)
        if len(sounding) < FEWEST:
            continue
        quiet = sounding[np.argsort(beside[sounding], kind="stable")[: max(FEWEST, len(sounding) // 5)]]
        power = float(np.median(line[quiet]))
        if not LEAST < power <= most or power < STANDS_OUT * float(np.median(beside[quiet])):
            continue
        at = frames.frequency[part, channel, number][quiet]
        low, middle, high = np.quantile(at, [0.25, 0.5, 0.75])
        least, greatest = 10.0 * np.log10(np.maximum(LEAST, np.quantile(line[quiet], [0.1, 0.9])))
        if abs(middle - hz) <= OFF_HZ and high - low <= WANDERS_HZ and greatest - least <= SWINGS_DB:
            found[hz] = power
    return found


def family_of(lines: Mapping[float, float], family: int) -> dict[float, float]:
    """Return the lines of a family where there is hum of it: its first or second line among them, none of the other's.

    300 Hz belongs to both families, and to the one that has more of the others.
    """
    own = {hz: power for hz, power in lines.items() if hz in FAMILIES[family]}
    return own if any(hz in own for hz in FAMILIES[family][:2]) else {}


def hum_stretches(frames: LowBandFrames, loudest: float, duration_s: float) -> list[HumStretch]:
    """Return the stretches with hum in order of time, those that follow one another merged."""
    count = len(frames.line)
    if count < FEWEST:
        return []
    starts = [*range(0, max(1, count - STRETCH // 2), STRETCH)]
    ends = [*starts[1:], count]
    found: list[HumStretch] = []
    for family in FAMILIES:
        last: HumStretch | None = None
        for start, end in zip(starts, ends, strict=True):
            both = [
                family_of(steady_lines(frames, channel, slice(start, end), loudest * BELOW_LOUDEST), family)
                for channel in (0, 1)
            ]
            powers = [sum(lines.values()) for lines in both]
            if not max(powers) > 0.0:
                continue
            channel = None
            if min(powers) < 0.1 * max(powers):
                channel = "left" if powers[0] > powers[1] else "right"
            here = HumStretch(
                family, channel, start * frames.hop_s, min(duration_s, (end - 1) * frames.hop_s + frames.length_s),
                max(powers), tuple(sorted(set(both[0]) | set(both[1]))),
            )  # fmt: skip
            if last is not None and here.start_s - last.end_s < 2 * STRETCH * frames.hop_s:
                found.pop()
                here = _merged(last, here)
            found.append(here)
            last = here
    return sorted(found, key=lambda stretch: (stretch.start_s, stretch.family))


def _merged(before: HumStretch, after: HumStretch) -> HumStretch:
    channel = before.channel if before.channel == after.channel else None
    lines = tuple(sorted({*before.lines, *after.lines}))
    power = max(before.power, after.power)
    return HumStretch(before.family, channel, before.start_s, after.end_s, power, lines)


@dataclass(frozen=True)
class Hum(Derived[tuple[HumStretch, ...]]):
    """Stretches of a side with mains hum."""

    id: ClassVar[str] = "spectrum.hum"
    publishes: ClassVar[Mapping[str, str]] = {"hum.level": "dBFS", "hum.frequency": "Hz"}
    meanings: ClassVar[Mapping[str, str]] = {
        "hum.level": "Level of the strongest mains hum, rms of all its lines up to 300 Hz; none where none is found.",
        "hum.frequency": "Frequency of the mains whose lines that hum has: 50 or 60 Hz.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the lines of the low band and the spectra, whose levels say what is loud."""
        return LowBandLines(), SideSpectra()

    def work(self, measured: Measurements) -> tuple[HumStretch, ...]:
        """Find the stretches."""
        loudest = float(measured[SideSpectra()].levels.max(initial=0.0))
        duration_s = measured.stream.frames / measured.stream.rate
        return tuple(hum_stretches(measured[LowBandLines()], loudest, duration_s))

    def publish(self, result: tuple[HumStretch, ...]) -> Mapping[str, Quantity]:
        """Return level and family of the strongest hum."""
        if not result:
            return {}
        strongest = max(result, key=lambda stretch: stretch.power)
        level = strongest.quantity()
        return {"hum.level": level, "hum.frequency": Quantity(value=float(strongest.family), unit="Hz", at=level.at)}
