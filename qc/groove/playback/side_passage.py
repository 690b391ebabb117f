"""A passage of a side, read again from its audio, ready to be cut and played where it lies on the disc."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut_arrays import CutArrays
from qc.groove.geometry.side import SideGeometry
from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip, speeds_along
from qc.groove.signal.wall_motion import Displacement
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.plugin_base import Samples, Stream, Tap

Array = NDArray[np.float64]

LEAD_S = 0.1
"""Seconds before a passage in which the replay curve settles: its slowest pole falls by 270 dB."""

ExcerptReader = Callable[[float, float, Tap], Samples]
"""Returns file seconds, from and to, through a tap, as the second look does."""


@dataclass(frozen=True, eq=False)
class SidePassage:
    """File seconds `start` to `end` of a side, as motion with up to LEAD_S before them."""

    side: SideGeometry
    start: float
    end: float
    cut: CutPassage

    @classmethod
    def read(cls, look: ExcerptReader, stream: Stream, side: SideGeometry, start: float, end: float) -> Self:
        """Read a passage again; raises SecondLookError."""
        tap = Displacement(side.chain.signal)
        motion = np.array(look(max(0.0, start - LEAD_S), end, tap), dtype=np.float64)
        return cls(side, start, end, CutPassage(motion, tap.rate(stream), side.chain.cut.unity_velocity))

    @property
    def begin(self) -> float:
        """File second at which the motion begins."""
        return max(0.0, self.start - LEAD_S)

    @property
    def lead(self) -> int:
        """Frames of motion before the passage."""
        return round(self.start * self.cut.rate) - round(self.begin * self.cut.rate)

    @property
    def tip(self) -> Tip:
        """The tip of the chain."""
        return Tip.spherical(self.side.chain.playback.tip_radius)

    @property
    def master(self) -> Array:
        """The programme as the groove carries it, without what lies before the passage, (2, frames)."""
        return self.cut.master[:, self.lead :]

    def compared_with(self, setup: PlaybackSetup) -> Array:
        """Return the master that a playback is compared with, (2, frames)."""
        return self.cut.compared_with(setup)[:, self.lead :]

    def played(self, setup: PlaybackSetup, workers: int = 1) -> Array:
        """Return the passage as it will play, in time with `master`, (2, frames)."""
        return self.cut.played(setup, workers)[:, self.lead :]

    def radii(self, cutting: CutArrays) -> Array:
        """Return the radius at the end of each sector of the motion where the side is cut so; (sectors,), m."""
        radius = cutting.spiral_path.radius
        sectors = np.arange(int(self.begin * SECTORS_A_SECOND), math.ceil(self.end * SECTORS_A_SECOND) + 1)
        inside = np.clip(sectors - self.side.span.start, 0, len(radius) - 1)
        found: Array = np.maximum(radius[inside], self.side.chain.disc.finishing / 2.0)
        return found

    def setup(self, cutting: CutArrays, radii: Array) -> PlaybackSetup:
        """Return how the passage is cut and played with the chain's tip, at radii as `radii` returns them."""
        rpm, frames = self.side.chain.disc.rpm, self.cut.motion.shape[1]
        speed = speeds_along(radii, rpm, frames, self.cut.rate)
        return PlaybackSetup(cutting.level, speed, self.tip, self.side.chain.playback.back_angle, cutting.polarity)
