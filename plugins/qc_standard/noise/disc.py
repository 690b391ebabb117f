"""Passages that lie near the noise of a pressing, at the level the side is judged at.

A pressing has noise of -50 to -60 dB unweighted against 5 cm/s (P-15, from memory); its middle is taken here. Played
back through the curve of the disc, noise and programme are compared as they are heard, without a weighting. A side
that is cut lower lies nearer to the noise by as many dB. The figure is for no particular radius, so none is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Groove, GrooveDerived, Measurements, Need, Programme, ProgrammeBounds, Quantity

Array = NDArray[np.float64]

PRESSING_DB = -55.0
"""dB of a pressing's noise against `REFERENCE`: the middle of -50 to -60 dB (P-15)."""
REFERENCE = 0.05
"""m/s, the lateral peak velocity of a tone that the noise is stated against."""
NEAR_DB = 10.0
"""dB above the noise up to which a passage lies near it (practice)."""
PASSAGE = 100
"""Tenths of a second in a passage, at the least."""
SOUNDING = 1e-9
"""Mean square above which a tenth sounds: -90 dBFS."""
SWINGS_DB = 2.0
"""dB between the quietest and the loudest fifth of the tenths of a passage, at the least: noise swings less."""


def disc_noise(chain: Chain, level_db: float) -> float:
    """Return the noise of a pressing in dBFS rms of the file, for a side that is cut at a level in dB."""
    wall = REFERENCE / math.sqrt(2.0) / chain.cut.unity_velocity
    return 20.0 * math.log10(wall / math.sqrt(2.0)) + PRESSING_DB - level_db


@dataclass(frozen=True, slots=True)
class QuietPassage:
    """A passage near the noise of the disc: file seconds, and its level in dB above that noise."""

    start_s: float
    end_s: float
    above: float

    def at(self) -> At:
        """Return its place."""
        return At(start_s=self.start_s, end_s=self.end_s)


@dataclass(frozen=True, slots=True)
class QuietResult:
    """What of a side lies near the noise of the disc, at one level."""

    noise: float
    """dBFS, the noise of the disc as a level of the file"""
    quietest: QuietPassage | None
    """the quietest 10 s; None where no 10 s sound for half of their time"""
    passages: tuple[QuietPassage, ...]
    near_s: float
    """seconds that sound in the passages"""
    sounding_s: float
    """seconds of the side that sound, above -90 dBFS"""

    @property
    def share(self) -> float:
        """Part of the sounding seconds that lies near the noise, in %."""
        return 100.0 * self.near_s / max(0.1, self.sounding_s)


def quiet_passages(bounds: ProgrammeBounds, noise: float) -> QuietResult:
    """Return the passages of 10 s or more within 10 dB of a noise in dBFS, or below it.

    The level of a passage is that of its sounding tenths of a second. Steady noise is no passage.
    """
    if bounds.first is None:
        return QuietResult(noise, None, (), 0.0, 0.0)
    power = bounds.power.mean(axis=0, dtype=np.float64)
    whole = len(power) // 10
    tenths = power[: 10 * whole].reshape(whole, 10).mean(axis=1)
    sounds = tenths > SOUNDING
    if whole < PASSAGE:
        return QuietResult(noise, None, (), 0.0, float(sounds.sum()) / 10.0)
    count = _sliding(sounds.astype(np.float64))
    level = 10.0 * np.log10(np.maximum(1e-20, _sliding(np.where(sounds, tenths, 0.0)) / np.maximum(1.0, count)))
    level[count < PASSAGE / 2] = np.inf
    near = np.zeros(whole, dtype=np.bool_)
    passages: list[QuietPassage] = []
    for first, end in _runs(level <= noise + NEAR_DB):
        there = slice(first, end + PASSAGE - 1)
        (quiet,) = np.nonzero(sounds[there] & (tenths[there] <= 10.0 ** ((noise + NEAR_DB) / 10.0)))
        tenth = slice(first + int(quiet[0]), first + int(quiet[-1]) + 1)  # without silence or louder tenths at its ends
        heard = tenths[tenth][sounds[tenth]]
        low, high = 10.0 * np.log10(np.quantile(heard, [0.2, 0.8]))
        if tenth.stop - tenth.start >= PASSAGE and high - low >= SWINGS_DB:
            near[tenth] = sounds[tenth]
            above = 10.0 * math.log10(float(heard.mean())) - noise
            passages.append(_passage(tenth, above))
        else:
            level[first:end] = np.inf
    at = int(level.argmin())
    quietest = None
    if math.isfinite(level[at]):
        quietest = _passage(slice(at, at + PASSAGE), float(level[at]) - noise)
    return QuietResult(noise, quietest, tuple(passages), float(near.sum()) / 10.0, float(sounds.sum()) / 10.0)


def _passage(tenths: slice, above: float) -> QuietPassage:
    return QuietPassage(tenths.start / 10.0, tenths.stop / 10.0, above)


def _sliding(values: Array) -> Array:
    """Return the sum of every 10 s, one each tenth of a second."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    sums: Array = np.maximum(0.0, total[PASSAGE:] - total[:-PASSAGE])
    return sums


def _runs(where: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the runs of True as (first, end); those that overlap in time, within 10 s of each other, are one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], where, [False]]).astype(np.int8)))
    runs: list[tuple[int, int]] = []
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if runs and first < runs[-1][1] + PASSAGE:
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((first, end))
    return runs


@dataclass(frozen=True)
class QuietAgainstDisc(GrooveDerived[QuietResult]):
    """Passages near the noise of a pressing at the judged level."""

    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "noise.disc"
    publishes: ClassVar[Mapping[str, str]] = {
        "noise.disc": "dBFS", "noise.quietest_10s": "dB", "noise.near_disc": "s", "noise.near_disc_share": "%",
    }  # fmt: skip
    meanings: ClassVar[Mapping[str, str]] = {
        "noise.disc": (
            "Noise of a usual pressing, -55 dB unweighted against 5 cm/s, as a level of the file at the cut level."
        ),
        "noise.quietest_10s": (
            "How far the quietest 10 s of the programme lie above that noise; none where no 10 s sound for half of "
            "their time."
        ),
        "noise.near_disc": "Seconds of the programme in passages of 10 s or more within 10 dB of that noise.",
        "noise.near_disc_share": "The same as a part of all that sounds on the side, above -90 dBFS.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the programme, which has the powers of 10 ms."""
        return (Programme(self.top),)

    def evaluate(self, groove: Groove, results: Measurements) -> QuietResult:
        """Find the passages at the groove's cut level."""
        return quiet_passages(results[Programme(self.top)], disc_noise(groove.chain, groove.level_db))

    def publish(self, result: QuietResult) -> Mapping[str, Quantity]:
        """Return the noise, and what lies near it."""
        numbers = {
            "noise.disc": Quantity(value=result.noise, unit="dBFS"),
            "noise.near_disc": Quantity(value=result.near_s, unit="s"),
            "noise.near_disc_share": Quantity(value=result.share, unit="%"),
        }
        if result.quietest is not None:
            quietest = Quantity(value=result.quietest.above, unit="dB", at=result.quietest.at())
            numbers["noise.quietest_10s"] = quietest
        return numbers
