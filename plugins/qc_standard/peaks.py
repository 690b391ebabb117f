"""Peaks, clipped runs, flat tops and direct current of a side."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

from qc.plugin_api import Analysis, At, Block, Chain, Quantity, Stream
from qc.plugin_api.meters import FlatRuns, Peak, PeakSweep, Runs
from qc_standard.dead import CHANNELS

SILENCE = -200.0
"""dBFS below which a level is given as this bound: digital silence has no level, and JSON no infinity."""
FLAT_TOPS = "level.flat_top_runs"


@dataclass(frozen=True, slots=True)
class PeaksResult:
    """Peaks and runs of the left and the right channel; full scale is 1.0, places are frames of the file."""

    rate: int
    peaks: tuple[Peak, Peak]
    runs: tuple[Runs, Runs]
    means: tuple[float, float]
    """mean of each channel: its direct current"""
    flat_tops: tuple[FlatRuns, FlatRuns] = (FlatRuns(), FlatRuns())
    """clipping at any level, clipped runs among it"""

    def clipping(self, measure: str) -> tuple[Runs | FlatRuns, Runs | FlatRuns]:
        """Return the runs of a measurement by channel."""
        return self.flat_tops if measure == FLAT_TOPS else self.runs


@dataclass(frozen=True)
class Peaks(Analysis[PeaksResult]):
    """Sample peak, true peak, clipped runs, flat tops and direct current."""

    id: ClassVar[str] = "level.peaks"
    cost: ClassVar[float] = 0.7
    publishes: ClassVar[Mapping[str, str]] = {
        "level.sample_peak": "dBFS",
        "level.true_peak": "dBTP",
        "level.clipped_runs": "1",
        "level.flat_top_runs": "1",
        "level.dc_offset": "dBFS",
    }
    meanings: ClassVar[Mapping[str, str]] = {
        "level.sample_peak": "The greatest sample of the louder channel.",
        "level.true_peak": "The greatest value of the louder channel between the samples too, at four times the rate.",
        "level.clipped_runs": (
            "Runs of three or more equal samples at a channel's greatest or least value, when that is at full scale."
        ),
        "level.flat_top_runs": (
            "Runs of four or more equal samples where the tops of waves are cut off at any level, and the clipped "
            "runs at full scale; square waves are left out."
        ),
        "level.dc_offset": "Direct current of the channel that has more of it.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _PeakMeter:
        """Return the initial state for a stream of two channels."""
        return _PeakMeter(stream)

    def publish(self, result: PeaksResult) -> Mapping[str, Quantity]:
        """Return each level of the louder channel, left if equal, and the runs of both, placed at the longest one."""
        left, right = result.peaks
        sample = int(right.sample > left.sample)
        true = int(right.true > left.true)
        longest = int(result.runs[1].longest > result.runs[0].longest)
        runs, offset = result.runs[longest], int(abs(result.means[1]) > abs(result.means[0]))
        flattest = int(result.flat_tops[1].longest > result.flat_tops[0].longest)
        flat = result.flat_tops[flattest]

        def at(frame: float, channel: int) -> At:
            return At(start_s=frame / result.rate, channel=CHANNELS[channel])

        peaks = result.peaks
        return {
            "level.sample_peak": _level(peaks[sample].sample, "dBFS", at(peaks[sample].sample_frame, sample)),
            "level.true_peak": _level(peaks[true].true, "dBTP", at(peaks[true].true_frame, true)),
            "level.clipped_runs": Quantity(
                value=result.runs[0].count + result.runs[1].count,
                unit="1",
                at=at(runs.frame, longest) if runs.count else None,
            ),
            "level.flat_top_runs": Quantity(
                value=result.flat_tops[0].count + result.flat_tops[1].count,
                unit="1",
                at=at(flat.frame, flattest) if flat.count else None,
            ),
            "level.dc_offset": _level(abs(result.means[offset]), "dBFS", At(channel=CHANNELS[offset])),
        }


class _PeakMeter:
    def __init__(self, stream: Stream) -> None:
        self._rate, self._mono = stream.rate, stream.mono
        self._sweep = PeakSweep()

    def push(self, block: Block) -> None:
        """Process the next block."""
        self._sweep.push(block.samples)

    def finish(self) -> PeaksResult:
        """Return peaks, runs, means and flat tops."""
        peaks, runs, means = self._sweep.finish()
        flat_tops = self._sweep.flat_tops()
        if self._mono:  # the right channel is the left again
            runs, flat_tops = (runs[0], Runs(0, 0, 0)), (flat_tops[0], FlatRuns())
        return PeaksResult(self._rate, peaks, runs, (float(means[0]), float(means[1])), flat_tops)


def _level(magnitude: float, unit: str, at: At) -> Quantity:
    """Convert a magnitude to a level in dB; below -200 dB to the bound "<" -200, without a place."""
    if magnitude < 10.0 ** (SILENCE / 20.0):
        return Quantity(value=SILENCE, unit=unit, bound="<")
    return Quantity(value=20.0 * math.log10(magnitude), unit=unit, at=at)
