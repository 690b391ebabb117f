"""Passages of a side in which the wave between the samples passes full scale."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from qc.plugin_api import Analysis, At, Block, Chain, Quantity, Stream
from qc.plugin_api.meters import Over, OverSweep
from qc_standard.dead import CHANNELS

APART_S = 0.5
"""Overs that are at most so far apart in s are one passage (practice)."""
PASSAGES = "file.inter_sample_overs"


@dataclass(frozen=True, slots=True)
class OverPassage:
    """Overs within half a second of each other, on one channel or both."""

    at: At
    """from the first over to the last; no channel where both pass full scale"""
    peak_s: float
    """file second of the highest one"""
    peak_db: float
    """its true peak in dBTP"""


@dataclass(frozen=True)
class Overs(Analysis[tuple[OverPassage, ...]]):
    """Passages in which the wave between the samples passes full scale, in the order of time."""

    id: ClassVar[str] = "level.overs"
    cost: ClassVar[float] = 1.7
    publishes: ClassVar[Mapping[str, str]] = {PASSAGES: "1"}
    meanings: ClassVar[Mapping[str, str]] = {
        PASSAGES: (
            "Passages in which the wave between the samples passes full scale; overs within half a second of each "
            "other are one."
        )
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _OverMeter:
        """Return the initial state for a stream of two channels."""
        return _OverMeter(stream)

    def publish(self, result: tuple[OverPassage, ...]) -> Mapping[str, Quantity]:
        """Return the number of passages, placed at the highest one."""
        at = max(result, key=lambda passage: passage.peak_db).at if result else None
        return {PASSAGES: Quantity(value=len(result), unit="1", at=at)}


class _OverMeter:
    def __init__(self, stream: Stream) -> None:
        self._rate, self._mono = stream.rate, stream.mono
        self._sweep = OverSweep(APART_S * stream.rate)

    def push(self, block: Block) -> None:
        """Process the next block."""
        self._sweep.push(block.samples)

    def finish(self) -> tuple[OverPassage, ...]:
        """Return the passages of both channels; of a mono file those of the left one."""
        left, right = self._sweep.finish()
        by_channel = [(left, CHANNELS[0])] if self._mono else [(left, CHANNELS[0]), (right, CHANNELS[1])]
        found = [self._passage(over, channel) for overs, channel in by_channel for over in overs]
        return tuple(_joined(sorted(found, key=_start)))

    def _passage(self, over: Over, channel: str) -> OverPassage:
        at = At(start_s=over.first / self._rate, end_s=over.last / self._rate, channel=channel)
        return OverPassage(at, over.peak_frame / self._rate, 20.0 * math.log10(over.peak))


def _joined(passages: Iterable[OverPassage]) -> list[OverPassage]:
    """Join passages, in the order of their starts, that are at most half a second apart."""
    joined: list[OverPassage] = []
    for its in passages:
        if not joined or _start(its) - _end(joined[-1]) > APART_S:
            joined.append(its)
            continue
        last = joined[-1]
        highest = max(last, its, key=lambda passage: passage.peak_db)
        channel = last.at.channel if last.at.channel == its.at.channel else None
        at = At(start_s=last.at.start_s, end_s=max(_end(last), _end(its)), channel=channel)
        joined[-1] = replace(highest, at=at)
    return joined


def _start(passage: OverPassage) -> float:
    return passage.at.start_s or 0.0


def _end(passage: OverPassage) -> float:
    return passage.at.end_s or 0.0
