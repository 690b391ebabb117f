"""The worst seconds of a side replayed by the exact model, in place of their estimates.

Seconds are taken in the order of their estimated residual, a few s apart so that they come from several passages, until
no other could be worse by what the estimate may be wrong. Then come two more, those whose loss of treble is estimated
greatest. A side whose estimates of the residual stay below what is worth it is left alone: its loss is small too.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut_arrays import CutArrays
from qc.groove.playback.estimate import OF_RESIDUAL, RESIDUAL, TOP_LOSS, PlaybackSeconds, estimate
from qc.groove.playback.residual import WHOLE, MasterBands
from qc.groove.playback.side_passage import ExcerptReader, SidePassage
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.errors import SecondLookError
from qc.plugin_base import Stream

WORTH_DB = -20.0
"""Residual in dB from which it should be exact: what adds less is clean enough (practice)."""
FROM_DB = WORTH_DB - OF_RESIDUAL.scatter
"""Estimate in dB from which a second is replayed."""
MOST = 6
"""Most seconds of a side that are replayed for their residual, each of them 1.4 s of the second look."""
MOST_FOR_LOSS = 2
"""Most that are replayed after them for their loss of treble (practice)."""
APART = 3
"""Least distance of two that are replayed for the same value, in seconds from start to start."""


@dataclass(frozen=True, slots=True)
class _ReplayOrder:
    """Seconds to replay for a value: from an estimate of `least` dB on, the greatest first, `most` of them."""

    name: str
    least: float
    most: int
    margin: float
    """dB by which exact values may exceed estimates: a second that stays below the worst one even so is left out"""

    def seconds(
        self, found: PlaybackSeconds, exact: NDArray[np.float64], played: Collection[int]
    ) -> Iterator[int]:  # fmt: skip
        """Yield seconds that were not played; `exact` and `played` grow meanwhile."""
        estimates, chosen = found.by_name[self.name], list[int]()
        order = np.argsort(-estimates, kind="stable")  # NaN comes last
        for index in order[: int((estimates >= self.least).sum())].tolist():
            worst = max((exact[other] for other in played if not math.isnan(exact[other])), default=-math.inf)
            if len(chosen) == self.most or estimates[index] + self.margin < worst:
                return
            distances = (abs(found.starts[index] - found.starts[other]) for other in chosen)
            if index not in played and all(distance >= APART * SECTORS_A_SECOND for distance in distances):
                chosen.append(index)
                yield index


BY_RESIDUAL = _ReplayOrder(RESIDUAL, FROM_DB, MOST, OF_RESIDUAL.scatter)
BY_TOP_LOSS = _ReplayOrder(TOP_LOSS, -math.inf, MOST_FOR_LOSS, math.inf)


def replayed(look: ExcerptReader, stream: Stream, cutting: CutArrays, workers: int = 1) -> PlaybackSeconds:
    """Return the seconds of a side as cut, the worst of them exact; those that cannot be read again stay estimates."""
    found = estimate(cutting)
    residual, top_loss, played = found.residual.copy(), found.top_loss.copy(), set[int]()

    def replay(seconds: Iterator[int]) -> None:
        for second in seconds:
            residual[second], top_loss[second] = replayed_second(look, stream, cutting, found, second, workers)
            played.add(second)

    with suppress(SecondLookError):
        replay(BY_RESIDUAL.seconds(found, residual, played))
        if played:
            replay(BY_TOP_LOSS.seconds(found, top_loss, played))
    return replace(found, residual=residual, top_loss=top_loss, played=frozenset(played))


def replayed_second(
    look: ExcerptReader, stream: Stream, cutting: CutArrays, seconds: PlaybackSeconds, index: int, workers: int = 1
) -> tuple[float, float]:
    """Return residual and loss of treble of one second as replayed, dB, NaN without programme; may SecondLookError."""
    side = cutting.side
    first = side.span.start + int(seconds.starts[index])
    start, end = first / SECTORS_A_SECOND, min((first + seconds.sectors) / SECTORS_A_SECOND, side.span.file_end_s)
    passage = SidePassage.read(look, stream, side, start, end)
    played = passage.played(passage.setup(cutting, passage.radii(cutting)), workers)
    compared = MasterBands.whole(passage.master, passage.cut.rate).compared(played)
    return float(compared.by_band[WHOLE][0]), float(compared.top_loss[0])
