"""A side as cut at one level and polarity: every number of the groove model with the sector where it is worst."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from qc.chain import SECTORS_A_SECOND, STANDARD_GRAVITY
from qc.groove.side import Side, Walls
from qc.groove.spiral import Spiral, demanded, wind
from qc.quantity import Op, Polarity

Array = NDArray[np.float64]
CHANNELS = ("left", "right")


@dataclass(frozen=True, slots=True)
class Worst:
    """A value in SI or as a ratio, the window it is taken over and the worst sector in it (span sectors)."""

    value: float
    sector: int
    start: int
    end: int
    channel: str | None = None


@dataclass(frozen=True, slots=True)
class Measure:
    """How a groove measurement is reported: unit, factor from SI, and which direction must be kept to."""

    unit: str
    factor: float
    op: Op
    of: Callable[[Cutting], Worst]


class Cutting:
    """One side at one cut level in dB and one polarity; everything is worked out when first asked for."""

    def __init__(self, side: Side, level: float, polarity: Polarity) -> None:
        self.side, self.level, self.polarity = side, level, polarity
        self.gain = 10.0 ** (level / 20.0)
        self._walls = side.walls[polarity]
        self._scale = self.gain * side.chain.cut.unity_velocity
        self._known: dict[str, Worst] = {}

    def measure(self, name: str) -> Worst:
        """Give a measurement of `MEASURES` by name."""
        if name not in self._known:
            self._known[name] = MEASURES[name].of(self)
        return self._known[name]

    @property
    def walls(self) -> Walls:
        """The displacements of this polarity at a cut level of 0 dB."""
        return self._walls

    @property
    def scale(self) -> float:
        """What an envelope for 1 m/s at 0 dBFS is multiplied by at this level."""
        return self._scale

    @cached_property
    def depth(self) -> Array:
        """Depth of the unmodulated groove, m, (n,)."""
        cut = self.side.chain.cut
        if cut.depth == "fixed":
            return np.full(self.side.span.sectors, cut.top_width / 2.0)
        wanted = cut.keep_width / 2.0 + self.gain * self._walls.up_near
        return np.clip(wanted, cut.top_width / 2.0, cut.nominal_depth)

    @cached_property
    def spiral(self) -> Spiral:
        """The spiral as cut."""
        cut, disc = self.side.chain.cut, self.side.chain.disc
        out, inward = self.gain * self._walls.out, self.gain * self._walls.inward
        return wind(demanded(self.depth, out, inward, cut, disc.sectors_a_turn), self.side.marks, cut, disc)

    @cached_property
    def speed(self) -> Array:
        """Groove speed, m/s, (n,); the radius counts as no less than the finishing groove's."""
        disc = self.side.chain.disc
        radius = np.maximum(self.spiral.radius, disc.finishing / 2.0)
        return 2.0 * math.pi * disc.rpm / 60.0 * radius

    @cached_property
    def lateral_slope(self) -> Array:
        """Lateral velocity over what the cutter's back edges allow, (n,) (C-1)."""
        return self._slope(self.side.envelopes.lateral_v)

    @cached_property
    def vertical_slope(self) -> Array:
        """Vertical velocity over what the cutter's back edges allow, (n,) (C-1)."""
        return self._slope(self.side.envelopes.vertical_v)

    def _slope(self, velocity: Array) -> Array:
        return self._scale * velocity / (self.speed * math.tan(self.side.chain.playback.back_angle))

    def tracing(self, acceleration: Array, tip: float | None = None) -> Array:
        """Ratio of tip radius to groove radius of curvature, e = R a / V^2, (2, n) (C-3)."""
        radius = self.side.chain.playback.tip_radius if tip is None else tip
        return radius * self._scale * acceleration / self.speed**2

    # -- the worst of each -------------------------------------------------------------------------------------

    def peak(self, values: Array, factor: float = 1.0, *, least: bool = False) -> Worst:
        """Greatest (or least) of (n,) or of (2, n) by wall, with its sector."""
        rows = np.atleast_2d(values)
        index = int(rows.argmin() if least else rows.argmax())
        channel, sector = divmod(index, rows.shape[1])
        name = CHANNELS[channel] if rows.shape[0] == 2 else None
        return Worst(factor * float(rows[channel, sector]), sector, sector, sector + 1, name)

    def scaled_peak(self, values: Array) -> Worst:
        """Greatest of an envelope, at this level."""
        return self.peak(values, self._scale)

    def share(self, ratio: Array, seconds: int) -> Worst:
        """Share of sectors above 1 in the worst `seconds`, or in all of a shorter side; (2, n): the greater wall."""
        rows = np.atleast_2d(ratio)
        greater = rows.max(axis=0)
        window = min(seconds * SECTORS_A_SECOND, len(greater))
        over = np.cumsum(np.concatenate([[0], greater > 1.0]))
        counts = over[window:] - over[:-window]
        if counts.any():
            start = int(counts.argmax())
            worst = start + int(greater[start : start + window].argmax())
        else:  # nothing is over: the window about the greatest ratio
            worst = int(greater.argmax())
            start = max(0, min(worst - window // 2, len(greater) - window))
        name = CHANNELS[int(rows[:, worst].argmax())] if rows.shape[0] == 2 else None
        return Worst(float(counts[start]) / window, worst, start, start + window, name)

    def drive(self, seconds: int) -> Worst:
        """Root of the mean square acceleration of the worst `seconds`, greater wall, m/s2 (C-10)."""
        square = self.side.envelopes.a_square
        window = min(seconds * SECTORS_A_SECOND, square.shape[1])
        total = np.cumsum(np.pad(square, ((0, 0), (1, 0))), axis=1)
        means = (total[:, window:] - total[:, :-window]) / window
        channel, start = divmod(int(means.argmax()), means.shape[1])
        worst = start + int(square[channel, start : start + window].argmax())
        value = self._scale * math.sqrt(max(0.0, float(means[channel, start])))
        return Worst(value, worst, start, start + window, CHANNELS[channel])

    def up(self) -> Worst:
        """Greatest excursion out of the disc."""
        return self.peak(self._walls.up, self.gain)

    def down(self) -> Worst:
        """Greatest excursion into the disc."""
        return self.peak(self._walls.down, self.gain)

    def width(self) -> Worst:
        """Least top width: twice the depth that the upward excursion leaves."""
        return self.peak(2.0 * (self.depth - self.gain * self._walls.up), least=True)

    def deepest(self) -> Worst:
        """Greatest depth."""
        return self.peak(self.depth + self.gain * self._walls.down)

    def land(self) -> Worst:
        """Least land."""
        return self.peak(self.spiral.land, least=True)

    def whole(self, value: float) -> Worst:
        """Give a number of the whole side, placed at its end."""
        n = self.side.span.sectors
        return Worst(value, n - 1, n - 1, n)


def _lateral(c: Cutting) -> Array:
    return np.maximum(c.side.envelopes.lateral_max, -c.side.envelopes.lateral_min)


MEASURES: dict[str, Measure] = {
    "groove.wall_velocity_peak": Measure("cm/s", 1e2, "<=", lambda c: c.scaled_peak(c.side.envelopes.v_abs)),
    "groove.lateral_velocity_peak": Measure("cm/s", 1e2, "<=", lambda c: c.scaled_peak(c.side.envelopes.lateral_v)),
    "groove.lateral_displacement_peak": Measure("um", 1e6, "<=", lambda c: c.scaled_peak(_lateral(c))),
    "groove.vertical_up_peak": Measure("um", 1e6, "<=", Cutting.up),
    "groove.vertical_down_peak": Measure("um", 1e6, "<=", Cutting.down),
    "groove.low_vertical_peak": Measure("um", 1e6, "<=", lambda c: c.scaled_peak(c.side.envelopes.low_vertical)),
    "groove.acceleration_peak": Measure(
        "g", 1.0 / STANDARD_GRAVITY, "<=", lambda c: c.scaled_peak(c.side.envelopes.a_abs)
    ),
    "groove.drive_1s": Measure("g", 1.0 / STANDARD_GRAVITY, "<=", lambda c: c.drive(1)),
    "groove.drive_10s": Measure("g", 1.0 / STANDARD_GRAVITY, "<=", lambda c: c.drive(10)),
    "groove.top_width_min": Measure("um", 1e6, ">=", Cutting.width),
    "groove.depth_max": Measure("um", 1e6, "<=", Cutting.deepest),
    "groove.land_min": Measure("um", 1e6, ">=", Cutting.land),
    "groove.lateral_slope_peak": Measure("1", 1.0, "<=", lambda c: c.peak(c.lateral_slope)),
    "groove.vertical_slope_peak": Measure("1", 1.0, "<=", lambda c: c.peak(c.vertical_slope)),
    "groove.tracing_ratio_peak": Measure("1", 1.0, "<=", lambda c: c.peak(c.tracing(c.side.envelopes.a_abs))),
    "groove.tracing_ratio_peak_5um": Measure("1", 1.0, "<=", lambda c: c.peak(c.tracing(c.side.envelopes.a_abs, 5e-6))),
    "groove.tracing_ratio_peak_18um": Measure(
        "1", 1.0, "<=", lambda c: c.peak(c.tracing(c.side.envelopes.a_abs, 18e-6))
    ),
    "groove.lateral_slope_share": Measure("1", 1.0, "<=", lambda c: c.share(c.lateral_slope, 10)),
    "groove.vertical_slope_share": Measure("1", 1.0, "<=", lambda c: c.share(c.vertical_slope, 10)),
    "groove.tracing_ratio_share": Measure("1", 1.0, "<=", lambda c: c.share(c.tracing(c.side.envelopes.a_abs), 10)),
    "groove.sibilance_share": Measure("1", 1.0, "<=", lambda c: c.share(c.tracing(c.side.envelopes.sibilance_a), 1)),
    "groove.travel": Measure("mm", 1e3, "<=", lambda c: c.whole(c.spiral.travel)),
    "groove.travel_least": Measure("mm", 1e3, "<=", lambda c: c.whole(c.spiral.travel_least)),
    "groove.last_diameter": Measure("mm", 1e3, ">=", lambda c: c.whole(2.0 * c.spiral.last_radius)),
}
"""Groove measurements that depend on the cut level, by name."""


def is_worse(measure: Measure, one: float, other: float) -> bool:
    """Whether `one` is worse than `other`."""
    return one > other if measure.op == "<=" else one < other


def windowed(name: str) -> bool:
    """Whether a measurement is taken over a window of seconds rather than one sector."""
    return name.endswith("_share") or ".drive_" in name
