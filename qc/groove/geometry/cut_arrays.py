"""A side as cut at one level and polarity: its spiral, and the arrays by sector that its numbers are taken of."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.side import SideGeometry, Walls
from qc.groove.geometry.spiral import Spiral, SpiralPath, compute_path, compute_spiral, radius_least, travel_least
from qc.model.quantity import Polarity

Array = NDArray[np.float64]


class CutArrays:
    """One side at one cut level in dB and one polarity; every array is computed when first asked for.

    Arrays are (n,) by sector, or (2, n) by wall, left (inner) first; SI units.
    """

    def __init__(self, side: SideGeometry, level: float, polarity: Polarity) -> None:
        self.side, self.level, self.polarity = side, level, polarity
        self.gain = 10.0 ** (level / 20.0)
        self._walls = side.walls[polarity]
        self._scale = self.gain * side.chain.cut.unity_velocity

    @property
    def walls(self) -> Walls:
        """The displacements of this polarity at a cut level of 0 dB."""
        return self._walls

    @property
    def spread(self) -> Walls:
        """The displacements that demand the pitch: those of the walls."""
        return self._walls

    @property
    def scale(self) -> float:
        """Factor from an envelope for 1 m/s at 0 dBFS to this level, m/s."""
        return self._scale

    @property
    def depth(self) -> Array:
        """Depth of the unmodulated groove, m, (n,)."""
        cut = self.side.chain.cut
        if cut.depth == "fixed":
            return np.full(self.side.span.sectors, cut.top_width / 2.0)
        wanted = cut.keep_width / 2.0 + self.gain * self._walls.up_near
        return np.clip(wanted, cut.top_width / 2.0, cut.nominal_depth)

    @property
    def top_width(self) -> Array:
        """Least top width of each sector, m, (n,): twice the depth that the upward excursion leaves (G-11)."""
        return 2.0 * (self.depth - self.gain * self._walls.up)

    @property
    def greatest_depth(self) -> Array:
        """Greatest depth of each sector, m, (n,): the unmodulated depth and the downward excursion."""
        return self.depth + self.gain * self._walls.down

    @property
    def spiral(self) -> Spiral:
        """The spiral as cut, with all its arrays; they are large, and computed again each time."""
        walls, cut, disc = self.spread, self.side.chain.cut, self.side.chain.disc
        return compute_spiral(
            walls.right, walls.left, walls.up_near, walls.unity, self.gain, self.side.marks, cut, disc
        )

    @cached_property
    def spiral_path(self) -> SpiralPath:
        """The spiral as cut, with no array but its radius."""
        walls, cut, disc = self.spread, self.side.chain.cut, self.side.chain.disc
        return compute_path(walls.right, walls.left, walls.up_near, walls.unity, self.gain, self.side.marks, cut, disc)

    @cached_property
    def speed(self) -> Array:
        """Groove speed, m/s, (n,); the radius counts as no less than the finishing groove's."""
        disc = self.side.chain.disc
        radius = np.maximum(self.spiral_path.radius, disc.finishing / 2.0)
        return 2.0 * math.pi * disc.rpm / 60.0 * radius

    @property
    def lateral_slope(self) -> Array:
        """Lateral velocity over what the cutter's back edges allow, (n,) (C-1)."""
        return self._slope(self.side.envelopes.lateral_v)

    @property
    def vertical_slope(self) -> Array:
        """Vertical velocity over what the cutter's back edges allow, (n,) (C-1)."""
        return self._slope(self.side.envelopes.vertical_v)

    def _slope(self, velocity: Array) -> Array:
        return self._scale * velocity / (self.speed * math.tan(self.side.chain.playback.back_angle))

    def tracing(self, acceleration: Array, tip: float | None = None) -> Array:
        """Ratio of tip radius to groove radius of curvature, e = R a / V^2, (2, n) (C-3)."""
        radius = self.side.chain.playback.tip_radius if tip is None else tip
        return radius * self._scale * acceleration / self.speed**2

    @property
    def travel_least(self) -> float:
        """Travel of the least possible spiral, m."""
        walls, cut, disc = self._walls, self.side.chain.cut, self.side.chain.disc
        return travel_least(walls.right, walls.left, walls.up_near, walls.unity, self.gain, cut, disc)

    @property
    def radius_least(self) -> Array:
        """Radius after each sector of the least possible spiral, m, (n,)."""
        walls, cut, disc = self._walls, self.side.chain.cut, self.side.chain.disc
        return radius_least(walls.right, walls.left, walls.up_near, walls.unity, self.gain, cut, disc)

    def forget(self) -> None:
        """Release all arrays; they are computed again when they are asked for."""
        for name in ("spiral_path", "speed"):
            self.__dict__.pop(name, None)
