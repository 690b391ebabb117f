"""The least correlation of the two channels of a side, of all frequencies and of the bass.

Programme is a part of 10 ms that is clearly above the noise floor (programme.noise_floor); a window holds
programme when at least half of its parts are programme. A channel up to -90 dBFS rms, dither for example, is
silent: where the other one is above -70 dBFS the correlation is then 0, and else there is none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import (
    SECTORS_A_SECOND,
    Analysis,
    At,
    Block,
    Chain,
    Curve,
    Derived,
    Measurements,
    Need,
    Parts,
    Programme,
    Quantity,
    Stream,
)
from qc.plugin_api.groove_model import WorkedSide
from qc.plugin_api.meters import LowBandSums, part_frames, sliding

Array = NDArray[np.float64]

TENTH = 10
"""Parts of 10 ms from one window to the next."""
SHORT, LONG = 4, 100
"""Tenths of a second in a window of 400 ms and of 10 s."""
SILENT = 1e-9
"""Mean square up to which a channel is silent: -90 dBFS rms."""
PLAYING = 1e-7
"""Mean square of one channel above which the correlation is 0 when the other is silent: -70 dBFS rms."""


@dataclass(frozen=True, slots=True)
class Correlation:
    """The least correlation, -1..1, of the windows that count, and the file seconds it lies between."""

    value: float
    start_s: float
    end_s: float

    def quantity(self) -> Quantity:
        """Return the correlation as a number for a report."""
        return Quantity(value=self.value, unit="1", at=At(start_s=self.start_s, end_s=self.end_s))


def by_tenths(parts: NDArray[Any]) -> NDArray[Any]:
    """Sum ten rows at a time, (tenths, ...); the last sum may be of fewer."""
    return np.add.reduceat(parts, np.arange(0, len(parts), TENTH), axis=0) if len(parts) else parts


def least_correlation(
    sums: Array, counts: NDArray[np.int64], programme: NDArray[np.bool_], tenths: int, rate: int
) -> Correlation | None:  # fmt: skip
    """Return the window with the least correlation; audio shorter than a window is one window.

    None when no window has a correlation; see `correlations`.
    """
    return _least(*correlations(sums, counts, programme, tenths), rate)


def _least(values: Array, frames: NDArray[np.int64], tenths: int, rate: int) -> Correlation | None:
    if not len(values) or np.isnan(values).all():
        return None
    first = int(np.nanargmin(values))
    start, stop = frames[:first].sum(), frames[: first + tenths].sum()
    return Correlation(min(1.0, max(-1.0, float(values[first]))), float(start) / rate, float(stop) / rate)


def correlations(
    sums: Array, counts: NDArray[np.int64], programme: NDArray[np.bool_], tenths: int
) -> tuple[Array, NDArray[np.int64], int]:  # fmt: skip
    """Return the correlation of every window, one a tenth of a second, frames by tenth, and the tenths in a window.

    The correlation is 0 where only one channel is silent, NaN where a window has no programme or both are silent. Audio
    shorter than a window is one window.

    Parameters
    ----------
    sums
        (n, 3) sums of L^2, R^2, L R over tenths of a second.
    counts
        (parts,) frames of each 10 ms.
    programme
        (parts,) whether each 10 ms is programme.
    tenths
        Tenths in a window.
    """
    frames, holds = by_tenths(counts), by_tenths(programme.astype(np.int64))
    whole = int(np.count_nonzero(counts == counts.max(initial=0))) // TENTH
    length = tenths * TENTH
    if whole < tenths:
        tenths, length = len(sums), len(counts)
    else:
        sums, frames, holds = sums[:whole], frames[:whole], holds[:whole]
    if not tenths:
        return np.zeros(0), frames, 0
    total, some = sliding(sums, tenths), 2 * sliding(holds, tenths) >= length
    n, least, most = sliding(frames, tenths), total[:, :2].min(axis=1), total[:, :2].max(axis=1)
    counted = np.flatnonzero(some & (least > SILENT * n))
    values = np.full(len(total), np.nan)
    values[some & (least <= SILENT * n) & (most > PLAYING * n)] = 0.0
    left, right, both = total[counted].T
    values[counted] = both / np.sqrt(left * right)
    return values, frames, tenths


@dataclass(frozen=True, slots=True)
class StereoResult:
    """Least correlation of 400 ms; None when no window has one."""

    correlation_min: Correlation | None


@dataclass(frozen=True)
class Stereo(Derived[StereoResult]):
    """The least correlation of 400 ms, one window every 100 ms."""

    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "stereo.correlation"
    publishes: ClassVar[Mapping[str, str]] = {"stereo.correlation_min": "1"}
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.correlation_min": "Correlation of the channels in the worst 400 ms that hold programme, from -1 to 1.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the energies of 10 ms and the programme."""
        return Parts(), Programme(self.top)

    def work(self, measured: Measurements) -> StereoResult:
        """Compute the least correlation from the sums."""
        parts, rate = measured[Parts()], measured.stream.rate
        there = measured[Programme(self.top)].by_parts(len(parts.counts), part_frames(rate) / rate)
        sums = by_tenths(parts.sums)
        return StereoResult(least_correlation(sums, parts.counts, there, SHORT, rate))

    def publish(self, result: StereoResult) -> Mapping[str, Quantity]:
        """Return the correlation where it has a meaning."""
        if result.correlation_min is None:
            return {}
        return {"stereo.correlation_min": result.correlation_min.quantity()}


@dataclass(frozen=True)
class LowBand(Analysis[Array]):
    """Sums of L^2, R^2 and L R from the chain's subsonic corner to 300 Hz, (n, 3) by tenths of a second."""

    subsonic: float
    """Hz, corner of the chain's subsonic high-pass"""

    id: ClassVar[str] = "stereo.low-band"
    cost: ClassVar[float] = 0.7

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's subsonic corner."""
        return cls(chain.signal.subsonic)

    def start(self, stream: Stream) -> _LowBandMeter:
        """Return the initial state for a stream of two channels."""
        return _LowBandMeter(LowBandSums(stream.rate, TENTH * part_frames(stream.rate), self.subsonic, stream.frames))


class _LowBandMeter:
    def __init__(self, sums: LowBandSums) -> None:
        self._sums = sums

    def push(self, block: Block) -> None:
        """Process the next block."""
        self._sums.push(block.samples)

    def finish(self) -> Array:
        """Return the sums, (tenths, 3)."""
        return self._sums.finish()[0]


@dataclass(frozen=True, slots=True)
class LowCorrelationResult:
    """Least correlation below 300 Hz over 10 s; None when no window has one."""

    correlation: Correlation | None
    along: Curve = field(compare=False)
    """of every window of 10 s, at its middle"""


@dataclass(frozen=True)
class LowCorrelation(Derived[LowCorrelationResult]):
    """The least correlation of the bass over 10 s, one window every 100 ms."""

    subsonic: float
    """Hz, corner of the chain's subsonic high-pass"""
    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "stereo.low"
    publishes: ClassVar[Mapping[str, str]] = {"stereo.low_correlation": "1"}
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.low_correlation": "Correlation of the channels below 300 Hz over the worst 10 s that hold programme.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's subsonic corner and top."""
        return cls(chain.signal.subsonic, chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the low band, the energies of 10 ms and the programme."""
        return LowBand(self.subsonic), Parts(), Programme(self.top)

    def work(self, measured: Measurements) -> LowCorrelationResult:
        """Compute the least correlation and the curve from the sums."""
        sums, parts, rate = measured[LowBand(self.subsonic)], measured[Parts()], measured.stream.rate
        there = measured[Programme(self.top)].by_parts(len(parts.counts), part_frames(rate) / rate)
        values, frames, tenths = correlations(sums, parts.counts, there, LONG)
        step = TENTH * part_frames(rate) / rate
        title = "Correlation below 300 Hz, 10 s"
        along = Curve(values, "1", tenths * step / 2.0, step, title, "low correlation", least=True)
        return LowCorrelationResult(_least(values, frames, tenths, rate), along)

    def publish(self, result: LowCorrelationResult) -> Mapping[str, Quantity]:
        """Return the correlation where it has a meaning."""
        if result.correlation is None:
            return {}
        return {"stereo.low_correlation": result.correlation.quantity()}

    def curves(self, result: LowCorrelationResult) -> Mapping[str, Curve]:
        """Return the correlation along the side."""
        return {"stereo.low_correlation": result.along}


def least_where_deep(along: Curve, worked: WorkedSide, deep: float) -> Quantity | None:
    """Return the least correlation of the windows of a curve in which the bass moves the cutter `deep` um or more.

    At the level the side is judged at; None where no window has one.
    """
    side, seconds = worked.search.side, 2.0 * along.start_s
    moved = 1e6 * 10.0 ** (worked.judged / 20.0) * side.chain.cut.unity_velocity * side.envelopes.low_vertical
    starts = along.step_s * np.arange(len(along.values))
    first = np.floor(starts * SECTORS_A_SECOND + 1e-6).astype(np.int64) - side.span.start
    end = np.clip(first + math.ceil(seconds * SECTORS_A_SECOND), 0, len(moved))
    before = np.concatenate([[0], np.cumsum(moved >= deep)])
    values = np.where(before[end] > before[np.clip(first, 0, len(moved))], along.values, np.nan)
    if np.isnan(values).all():
        return None
    at = int(np.nanargmin(values))
    place = At(start_s=float(starts[at]), end_s=float(starts[at] + seconds))
    return Quantity(value=min(1.0, max(-1.0, float(values[at]))), unit="1", at=place)
