"""A side as cut at one level and polarity: every number of the groove model with the sector where it is worst."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from qc.dsp.kernels.compile import read_only
from qc.groove.geometry.cut_arrays import Array, CutArrays
from qc.groove.geometry.playing_time import above_chart, minutes_for
from qc.groove.geometry.ratios import over
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.worst import CHANNELS, NumbersAtLevel, Worst
from qc.model.cutting_chain import LEAD_OUT_PITCH, SECTORS_A_SECOND, STANDARD_GRAVITY, DiscGeometry
from qc.model.quantity import Op, Polarity


@dataclass(frozen=True, slots=True)
class Measure:
    """A groove measurement: its unit, the factor from SI, the side to stay on, and its worst on a cutting."""

    unit: str
    factor: float
    op: Op
    of: Callable[[Cutting], Worst]


class Cutting(CutArrays):
    """One side at one cut level in dB and one polarity; every number is computed when first asked for.

    What is computed is put into `numbers`, and what is there already is not computed again.
    """

    def __init__(
        self, side: SideGeometry, level: float, polarity: Polarity, numbers: NumbersAtLevel | None = None
    ) -> None:
        super().__init__(side, level, polarity)
        numbers = NumbersAtLevel() if numbers is None else numbers
        self._worst, self._radii = numbers.worst, numbers.radii

    def measure(self, name: str) -> Worst:
        """Return the worst of a measurement of `MEASURES` by name, or one of `OF_LOUDNESS`, which is never stored."""
        if name in OF_LOUDNESS:
            return OF_LOUDNESS[name].of(self)
        if name not in self._worst:
            self._worst[name] = MEASURES[name].of(self)
            if "spiral_path" in self.__dict__:
                self._keep()
        return self._worst[name]

    def _keep(self) -> None:
        """Keep what is asked for after the spiral is released: its own numbers, and the radius at each worst place."""
        for name in ("groove.travel", "groove.last_diameter", "groove.land_min"):
            if name not in self._worst:
                self._worst[name] = MEASURES[name].of(self)
        for worst in self._worst.values():
            self.radius_at(worst.sector)
            self.radius_at(worst.start)

    def radius_at(self, sector: int) -> float:
        """Radius after a sector, m; kept, so that no spiral is computed again to place a number."""
        if sector not in self._radii:
            self._radii[sector] = float(self.spiral_path.radius[sector])
        return self._radii[sector]

    # -- the worst of each -------------------------------------------------------------------------------------

    def peak(self, values: Array, factor: float = 1.0, *, least: bool = False) -> Worst:
        """Greatest (or least) of (n,) or of (2, n) by wall, with its sector."""
        rows = np.atleast_2d(values)
        index = int(rows.argmin() if least else rows.argmax())
        channel, sector = divmod(index, rows.shape[1])
        name = CHANNELS[channel] if rows.shape[0] == 2 else None
        return Worst(factor * float(rows[channel, sector]), sector, sector, sector + 1, name)

    def scaled_peak(self, values: Array) -> Worst:
        """Greatest of values for 0 dBFS and 1 m/s, at this level."""
        return self.peak(values, self._scale)

    def envelope_peak(self, name: str) -> Worst:
        """Greatest of an envelope, at this level."""
        rows = np.atleast_2d(getattr(self.side.envelopes, name))
        channel, sector = self.side.peak(name)
        value = self._scale * float(rows[channel, sector])
        return Worst(value, sector, sector, sector + 1, CHANNELS[channel] if rows.shape[0] == 2 else None)

    def slope_peak(self, name: str) -> Worst:
        """Greatest of a velocity over what the cutter's back edges allow (C-1)."""
        return self._ratio(name, self._scale, 0, self._edges)

    def slope_share(self, name: str, seconds: int) -> Worst:
        """Share of sectors whose slope is above 1 in the worst `seconds`, or in all of a shorter side."""
        return self._ratio(name, self._scale, seconds, self._edges)

    def tracing_peak(self, name: str, tip: float | None = None) -> Worst:
        """Greatest tracing ratio (C-3)."""
        radius = self.side.chain.playback.tip_radius if tip is None else tip
        return self._ratio(name, radius * self._scale, 0, 0.0)

    def tracing_share(self, name: str, seconds: int) -> Worst:
        """Share of sectors whose tracing ratio is above 1 in the worst `seconds`; the greater wall."""
        return self._ratio(name, self.side.chain.playback.tip_radius * self._scale, seconds, 0.0)

    def speed_peak(self, name: str) -> Worst:
        """Greatest of a velocity over the speed of the groove."""
        return self._ratio(name, self._scale, 0, 1.0)

    @property
    def _edges(self) -> float:
        """Tangent of the back angle."""
        return math.tan(self.side.chain.playback.back_angle)

    def _ratio(self, name: str, factor: float, seconds: int, edges: float) -> Worst:
        """Peak of a ratio (no seconds) or its share above 1, for an envelope times a factor; `edges` as in `over`."""
        disc, rows = self.side.chain.disc, np.ascontiguousarray(np.atleast_2d(getattr(self.side.envelopes, name)))
        window = min(seconds * SECTORS_A_SECOND, rows.shape[1])
        turning = 2.0 * math.pi * disc.rpm / 60.0
        value, sector, start, channel = over(
            read_only(rows[0]), read_only(rows[-1]), factor, self.spiral_path.radius, disc.finishing / 2.0, turning,
            edges, window, np.empty(rows.shape[1] if window else 0, np.uint8),
        )  # fmt: skip
        return Worst(value, sector, start, start + max(1, window), CHANNELS[channel] if len(rows) == 2 else None)

    def drive(self, seconds: int) -> Worst:
        """Root of the mean square acceleration of the worst `seconds`, greater wall, m/s2 (C-10)."""
        mean, channel, start, window = self.side.loudest(seconds)
        worst = start + int(self.side.envelopes.a_square[channel, start : start + window].argmax())
        return Worst(self._scale * math.sqrt(max(0.0, mean)), worst, start, start + window, CHANNELS[channel])

    def swing(self) -> Worst:
        """Greatest lateral excursion to either side."""
        value, sector = self.side.swing()
        return Worst(self._scale * value, sector, sector, sector + 1)

    def kept_swing(self) -> Worst:
        """Lateral excursion that a twentieth of the sectors of the worst 10 s reach."""
        value, sector, start, end = self.side.kept_swing()
        return Worst(self._scale * value, sector, start, end)

    def up(self) -> Worst:
        """Greatest excursion out of the disc."""
        return self.peak(self._walls.up, self.gain)

    def down(self) -> Worst:
        """Greatest excursion into the disc."""
        return self.peak(self._walls.down, self.gain)

    def width(self) -> Worst:
        """Least top width, m."""
        return self.peak(self.top_width, least=True)

    def deepest(self) -> Worst:
        """Greatest depth, m."""
        return self.peak(self.greatest_depth)

    def land(self) -> Worst:
        """Least land."""
        at = self.spiral_path.tightest
        return Worst(self.spiral_path.land, at, at, at + 1)

    def lead_out_room(self) -> Worst:
        """Room between the last groove and the finishing groove, in turns of `LEAD_OUT_PITCH` (D-8)."""
        last = self.measure(DIAMETER)
        return replace(last, value=(last.value - self.side.chain.disc.finishing) / 2.0 / LEAD_OUT_PITCH)

    @property
    def on_disc(self) -> float:
        """Loudness on the disc against the alignment tone, LU; asked only where the side has a loudness."""
        assert self.side.loudness is not None
        return self.side.loudness - self.side.chain.cut.align + self.level

    @property
    def on_chart(self) -> float:
        """Loudness on the disc in dB against the reference of the studio's chart (L-8); as `on_disc` otherwise."""
        return self.on_disc + above_chart(self.side.chain.cut.reference_velocity)

    def minutes_over(self, level: float) -> Worst:
        """Minutes beyond what the playing-time table allows at a level in dB (5a, S13)."""
        side = self.side
        allowed = minutes_for(side.chain.disc.size, side.chain.disc.speed, level)
        assert allowed is not None  # asked only where the table has the disc
        lasts = min(side.span.end / SECTORS_A_SECOND, side.span.file_end_s) - side.span.start / SECTORS_A_SECOND
        return self.whole(lasts / 60.0 - allowed)

    def whole(self, value: float) -> Worst:
        """Return a number of the whole side, placed at its end."""
        n = self.side.span.sectors
        return Worst(value, n - 1, n - 1, n)


G = 1.0 / STANDARD_GRAVITY
DIAMETER, ROOM, SWING = "groove.last_diameter", "layout.lead_out_room", "groove.lateral_displacement_10s"
MINUTES, CHART = "layout.minutes_over_table", "layout.minutes_over_chart"
OF_MINUTES = frozenset({MINUTES, CHART})
"""Measurements against the table of playing times, which not every disc has a row in."""

MEASURES: dict[str, Measure] = {
    "groove.wall_velocity_peak": Measure("cm/s", 1e2, "<=", lambda c: c.envelope_peak("v_abs")),
    "groove.lateral_velocity_peak": Measure("cm/s", 1e2, "<=", lambda c: c.envelope_peak("lateral_v")),
    "groove.lateral_displacement_peak": Measure("um", 1e6, "<=", Cutting.swing),
    SWING: Measure("um", 1e6, "<=", Cutting.kept_swing),
    "groove.vertical_up_peak": Measure("um", 1e6, "<=", Cutting.up),
    "groove.vertical_down_peak": Measure("um", 1e6, "<=", Cutting.down),
    "groove.low_vertical_peak": Measure("um", 1e6, "<=", lambda c: c.envelope_peak("low_vertical")),
    "groove.acceleration_peak": Measure("g", G, "<=", lambda c: c.envelope_peak("a_abs")),
    "groove.drive_1s": Measure("g", G, "<=", lambda c: c.drive(1)),
    "groove.drive_10s": Measure("g", G, "<=", lambda c: c.drive(10)),
    "groove.top_width_min": Measure("um", 1e6, ">=", Cutting.width),
    "groove.depth_max": Measure("um", 1e6, "<=", Cutting.deepest),
    "groove.land_min": Measure("um", 1e6, ">=", Cutting.land),
    "groove.lateral_slope_peak": Measure("1", 1.0, "<=", lambda c: c.slope_peak("lateral_v")),
    "groove.lateral_speed_ratio_peak": Measure("1", 1.0, "<=", lambda c: c.speed_peak("lateral_v")),
    "groove.vertical_slope_peak": Measure("1", 1.0, "<=", lambda c: c.slope_peak("vertical_v")),
    "groove.tracing_ratio_peak": Measure("1", 1.0, "<=", lambda c: c.tracing_peak("a_abs")),
    "groove.tracing_ratio_peak_5um": Measure("1", 1.0, "<=", lambda c: c.tracing_peak("a_abs", 5e-6)),
    "groove.tracing_ratio_peak_18um": Measure("1", 1.0, "<=", lambda c: c.tracing_peak("a_abs", 18e-6)),
    "groove.lateral_slope_share": Measure("1", 1.0, "<=", lambda c: c.slope_share("lateral_v", 10)),
    "groove.vertical_slope_share": Measure("1", 1.0, "<=", lambda c: c.slope_share("vertical_v", 10)),
    "groove.tracing_ratio_share": Measure("1", 1.0, "<=", lambda c: c.tracing_share("a_abs", 10)),
    "groove.sibilance_share": Measure("1", 1.0, "<=", lambda c: c.tracing_share("sibilance_a", 1)),
    **{name: Measure("1", 1.0, "<=", share.worst) for name, share in TIMES.items()},
    "groove.travel": Measure("mm", 1e3, "<=", lambda c: c.whole(c.spiral_path.travel)),
    "groove.travel_least": Measure("mm", 1e3, "<=", lambda c: c.whole(c.travel_least)),
    DIAMETER: Measure("mm", 1e3, ">=", lambda c: c.whole(2.0 * c.radius_at(c.side.span.sectors - 1))),
    ROOM: Measure("turn", 1.0, ">=", Cutting.lead_out_room),
}
"""Groove measurements that depend on the cut level, by name; `op` is the side that they leave as the level rises."""

OF_LOUDNESS: dict[str, Measure] = {
    "groove.judged_level": Measure("dB", 1.0, "<=", lambda c: c.whole(c.level)),
    "groove.level_on_disc": Measure("LU", 1.0, "<=", lambda c: c.whole(c.on_disc)),
    MINUTES: Measure("min", 1.0, "<=", lambda c: c.minutes_over(c.on_disc)),
    CHART: Measure("min", 1.0, "<=", lambda c: c.minutes_over(c.on_chart)),
}
"""Measurements that rise with the cut level and take no envelope; all but the level itself take the side's loudness."""

FOLLOWING: dict[str, Measure] = MEASURES | OF_LOUDNESS
"""Every measurement that gets worse on one side as the level rises: limits on that side can set the level."""


def measurable(measure: str, side: SideGeometry) -> bool:
    """Whether a measurement of `FOLLOWING` has a value on a side."""
    disc, has_loudness = side.chain.disc, side.loudness is not None
    if measure in OF_MINUTES:
        return has_loudness and minutes_for(disc.size, disc.speed, 0.0) is not None
    return has_loudness or measure != "groove.level_on_disc"


def rises(measure: str, op: Op) -> bool:
    """Whether a limit on this side of a measurement is broken rather by a higher cut level than by a lower one."""
    return measure in FOLLOWING and FOLLOWING[measure].op == op


def ends_at(measure: str, bound: float, disc: DiscGeometry) -> float | None:
    """Last diameter, m, at which a bound is reached, in its unit; None for what is not about where the side ends."""
    if measure == DIAMETER:
        return bound / MEASURES[DIAMETER].factor
    return disc.finishing + 2.0 * LEAD_OUT_PITCH * bound if measure == ROOM else None


def is_worse(measure: Measure, value: float, other: float) -> bool:
    """Whether `value` is worse than `other`."""
    return value > other if measure.op == "<=" else value < other


def windowed(name: str) -> bool:
    """Whether a measurement is taken over a window of seconds rather than one sector."""
    return name.endswith("_share") or ".drive_" in name or name in TIMES or name == SWING
