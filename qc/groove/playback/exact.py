"""The worst seconds of a side replayed by the exact model, in place of their estimates.

Seconds are taken in the order of their estimates, a few s apart so that they come from several passages, until no other
could be worse by what the estimate may be wrong. A side whose estimates keep below what is worth it is left alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from qc.groove.geometry.cut_arrays import CutArrays
from qc.groove.playback.estimate import OF_RESIDUAL, PlaybackSeconds, estimate
from qc.groove.playback.residual import WHOLE, MasterBands
from qc.groove.playback.side_passage import ExcerptReader, SidePassage
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.errors import SecondLookError
from qc.plugin_api import Stream

WORTH_DB = -20.0
"""Residual in dB from which it should be exact: what adds less is clean enough (practice)."""
FROM_DB = WORTH_DB - OF_RESIDUAL.scatter
"""Estimate in dB from which a second is replayed."""
MOST = 6
"""Most seconds of a side that are replayed, each of them 1.4 s of the second look."""
APART = 3
"""Least distance of two of them, in seconds from start to start."""


def replayed(look: ExcerptReader, stream: Stream, cutting: CutArrays, workers: int = 1) -> PlaybackSeconds:
    """Return the seconds of a side as cut, the worst of them exact; those that cannot be read again stay estimates."""
    found = estimate(cutting)
    residual, top_loss, played = found.residual.copy(), found.top_loss.copy(), set[int]()
    for second in _in_order(found):
        worst = max((residual[index] for index in played if not math.isnan(residual[index])), default=-math.inf)
        if found.residual[second] + OF_RESIDUAL.scatter < worst:
            break
        try:
            residual[second], top_loss[second] = replayed_second(look, stream, cutting, found, second, workers)
        except SecondLookError:
            break
        played.add(second)
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


def _in_order(seconds: PlaybackSeconds) -> Iterator[int]:
    """Yield the seconds worth replaying, the worst first."""
    chosen: list[int] = []
    order = np.argsort(-seconds.residual, kind="stable")  # NaN comes last
    for index in order[: int((seconds.residual >= FROM_DB).sum())].tolist():
        start = seconds.starts[index]
        if all(abs(start - seconds.starts[other]) >= APART * SECTORS_A_SECOND for other in chosen):
            chosen.append(index)
            yield index
        if len(chosen) == MOST:
            return
