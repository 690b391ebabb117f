"""Energies of each 10 ms of a side, summed once for every question of where there is sound and in which channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.dsp.meters.windows import WindowSums, part_frames
from qc.model.cutting_chain import Chain
from qc.plugin_base import Analysis, Block, Stream


@dataclass(frozen=True, eq=False)
class PartSums:
    """Sums over parts of 10 ms from frame 0 on, of the samples as they came; the last part may be shorter."""

    sums: NDArray[np.float64]
    """(parts, 3): L^2, R^2, L R"""
    counts: NDArray[np.int64]
    """(parts,) frames in each"""


@dataclass(frozen=True)
class Parts(Analysis[PartSums]):
    """Sums up the energies of both channels, and what they have in common, by 10 ms."""

    id: ClassVar[str] = "groove.parts"
    cost: ClassVar[float] = 0.3

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003 - no chain value matters
        """Build it; it depends on nothing."""
        return cls()

    def start(self, stream: Stream) -> _EnergiesRunning:
        """Begin on a stream of two channels."""
        return _EnergiesRunning(stream)


class _EnergiesRunning:
    def __init__(self, stream: Stream) -> None:
        self._sums = WindowSums(part_frames(stream.rate), stream.frames)

    def push(self, block: Block) -> None:
        """Add the next slice."""
        self._sums.push(block.samples)

    def finish(self) -> PartSums:
        """Return the sums."""
        return PartSums(*self._sums.finish())
