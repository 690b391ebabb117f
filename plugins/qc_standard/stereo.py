"""Balance and correlation of the two channels of a side.

Programme is a part of 10 ms above -60 dBFS rms in either channel of the unfiltered signal; a window holds
programme when at least half of its parts are programme. A channel up to -90 dBFS rms, dither for example, is
silent: there is nothing in it to weigh or to correlate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.contract import Analysis, At, Block, Chain, Quantity, RunningTap, Stream, Tap
from qc.dsp import biquad
from qc.dsp.windows import WindowSums, part_frames, programme, sliding
from qc_standard.sections import RunningSections

Array = NDArray[np.float64]

SHORT, LONG, HOP = 40, 1000, 10
"""Parts of 10 ms in a window of 400 ms and of 10 s, and from one window to the next."""
SILENT = 1e-9
"""Mean square up to which a channel is silent: -90 dBFS rms."""
LOW_BAND_HZ = 300.0


@dataclass(frozen=True, slots=True)
class Correlation:
    """The least correlation, -1..1, of the windows that count, and the file seconds it lies between."""

    value: float
    start_s: float
    end_s: float

    def quantity(self) -> Quantity:
        """Give it as a number for a report."""
        return Quantity(value=self.value, unit="1", at=At(start_s=self.start_s, end_s=self.end_s))


def least_correlation(
    sums: Array, counts: NDArray[np.int64], holds: NDArray[np.bool_], parts: int, rate: int
) -> Correlation | None:
    """Find the window with the least correlation; what is shorter than a window is taken as a whole.

    None when no window holds programme with both channels not silent.

    Parameters
    ----------
    sums
        (n, 3) sums of L^2, R^2, L R over parts of 10 ms.
    counts
        (n,) frames in each part.
    holds
        (n,) whether a part is programme.
    parts
        Parts in a window.
    rate
        Frames a second.
    """
    whole = int(np.count_nonzero(counts == counts.max(initial=0)))
    if whole < parts:
        parts = len(sums)
    else:
        sums, counts, holds = sums[:whole], counts[:whole], holds[:whole]
    if not parts:
        return None
    total, frames = sliding(sums, parts)[::HOP], sliding(counts.astype(np.float64), parts)[::HOP]
    some = 2.0 * sliding(holds.astype(np.float64), parts)[::HOP] >= parts
    counted = np.flatnonzero(some & (total[:, :2].min(axis=1) > SILENT * frames))
    if not len(counted):
        return None
    left, right, both = total[counted].T
    values = both / np.sqrt(left * right)
    k = int(np.argmin(values))
    first = int(counted[k]) * HOP
    start, stop = counts[:first].sum(), counts[: first + parts].sum()
    return Correlation(min(1.0, max(-1.0, float(values[k]))), float(start) / rate, float(stop) / rate)


@dataclass(frozen=True, slots=True)
class StereoResult:
    """Balance in dB, R re L, None when a channel is silent; least correlation of 400 ms."""

    balance: float | None
    correlation_min: Correlation | None


@dataclass(frozen=True)
class Stereo(Analysis[StereoResult]):
    """Balance over the whole side, and the least correlation of 400 ms, one window every 100 ms."""

    id: ClassVar[str] = "stereo.balance"
    cost: ClassVar[float] = 1.6
    publishes: ClassVar[Mapping[str, str]] = {"stereo.balance": "dB", "stereo.correlation_min": "1"}
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.balance": "How much more energy the right channel has than the left over the whole side.",
        "stereo.correlation_min": "Correlation of the channels in the worst 400 ms that hold programme, from -1 to 1.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build; nothing of the chain matters."""
        return cls()

    def start(self, stream: Stream) -> _Comparing:
        """Begin on a stream of two channels."""
        return _Comparing(stream.rate)

    def publish(self, result: StereoResult) -> Mapping[str, Quantity]:
        """Give both where they have a meaning."""
        published = {}
        if result.balance is not None:
            published["stereo.balance"] = Quantity(value=result.balance, unit="dB")
        if result.correlation_min is not None:
            published["stereo.correlation_min"] = result.correlation_min.quantity()
        return published


class _Comparing:
    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._sums = WindowSums(part_frames(rate))

    def push(self, block: Block) -> None:
        """Hear the next slice."""
        self._sums.push(block.samples)

    def finish(self) -> StereoResult:
        """Work out both from the sums of 10 ms."""
        sums, counts = self._sums.finish()
        left, right, _ = sums.sum(axis=0)
        audible = min(left, right) > SILENT * counts.sum()
        return StereoResult(
            10.0 * math.log10(right / left) if audible else None,
            least_correlation(sums, counts, programme(sums, counts), SHORT, self._rate),
        )


@dataclass(frozen=True)
class LowBand(Tap):
    """The source from the chain's subsonic corner to 300 Hz, (2, frames) at its own rate.

    A 2nd-order Butterworth high-pass (none at 0 Hz) and a 4th-order Butterworth low-pass.
    """

    subsonic: float
    """Hz"""

    def start(self, stream: Stream) -> RunningTap:
        """Begin on a stream of two channels."""
        low = biquad.butterworth_4_low(LOW_BAND_HZ, stream.rate)
        if not self.subsonic:
            return RunningSections(low)
        return RunningSections(np.vstack([biquad.butterworth_2_high(self.subsonic, stream.rate), low]))


@dataclass(frozen=True, slots=True)
class LowCorrelationResult:
    """Least correlation below 300 Hz over 10 s; None when nothing counts or a channel is silent there."""

    correlation: Correlation | None


@dataclass(frozen=True)
class LowCorrelation(Analysis[LowCorrelationResult]):
    """The least correlation of the bass over 10 s, one window every 100 ms."""

    subsonic: float
    """Hz, corner of the chain's subsonic high-pass"""

    id: ClassVar[str] = "stereo.low"
    cost: ClassVar[float] = 8.0
    publishes: ClassVar[Mapping[str, str]] = {"stereo.low_correlation": "1"}
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.low_correlation": "Correlation of the channels below 300 Hz over the worst 10 s that hold programme.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's subsonic corner."""
        return cls(chain.signal.subsonic)

    def taps(self) -> tuple[Tap, ...]:
        """Listen to the low band."""
        return (LowBand(self.subsonic),)

    def start(self, stream: Stream) -> _ListeningLow:
        """Begin on a stream of two channels."""
        return _ListeningLow(LowBand(self.subsonic), stream.rate)

    def publish(self, result: LowCorrelationResult) -> Mapping[str, Quantity]:
        """Give it where it has a meaning."""
        if result.correlation is None:
            return {}
        return {"stereo.low_correlation": result.correlation.quantity()}


class _ListeningLow:
    def __init__(self, tap: LowBand, rate: int) -> None:
        self._tap, self._rate = tap, rate
        self._band, self._all = WindowSums(part_frames(rate)), WindowSums(part_frames(rate))

    def push(self, block: Block) -> None:
        """Hear the next slice."""
        self._band.push(block[self._tap])
        self._all.push(block.samples)

    def finish(self) -> LowCorrelationResult:
        """Work it out from the sums of 10 ms."""
        sums, counts = self._band.finish()
        holds = programme(*self._all.finish())
        return LowCorrelationResult(least_correlation(sums, counts, holds, LONG, self._rate))
