"""Traces of measurements along a side: a value for every sector, or for every window of seconds.

The worst of a trace is the measurement of the same name in `qc.groove.geometry.cut.MEASURES`, to the last digit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut import MEASURES, SWING, Cutting
from qc.groove.geometry.kept import KEPT, kept_along
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.worst import CHANNELS, Worst
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.quantity import Op, limit_with_tolerance

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Trace:
    """One measurement along a side, in SI or as a ratio.

    values: (walls, sectors) a sector's own value, or (walls, starts) that of the window from a sector on; one row
    where the walls are not kept apart. walls: (walls, sectors) the weight of a sector in its window.
    """

    values: Array
    window: int
    """sectors that a value is taken over"""
    op: Op
    walls: Array
    weight: Array | None = None
    """what each sector adds to a window, (sectors,); None where a value is a sector's own"""

    @property
    def sign(self) -> float:
        """1 where the greater value is the worse one, else -1."""
        return 1.0 if self.op == "<=" else -1.0

    def beyond(self, bound: float) -> Mask:
        """Mask of the values beyond a bound in the trace's own unit, of either wall; (sectors,) or (starts,)."""
        return any_wall(self.values > bound if self.op == "<=" else self.values < bound)

    def spread(self, starts: Mask) -> Mask:
        """Mask the sectors that lie in any of some windows, by their starts; (sectors,)."""
        if self.window == 1:
            return starts
        begun = np.concatenate([np.zeros(self.window), starts, np.zeros(self.window - 1)]).cumsum()
        covered: Mask = begun[self.window :] > begun[: -self.window]
        return covered

    def worst(self, start: int = 0, end: int | None = None) -> Worst:
        """Return the worst value that takes in any of the sectors from `start` to before `end`."""
        end = self.walls.shape[1] if end is None else end
        first = max(0, start - self.window + 1)
        among = self.sign * self.values[:, first : min(end, self.values.shape[1])]
        row, index = divmod(int(among.argmax()), among.shape[1])
        at = first + index
        value = float(self.values[row, at])
        if self.window == 1:
            return Worst(value, at, at, at + 1, _channel(self.values, row))
        low, high = max(at, start), min(at + self.window, end)
        if len(self.values) == 2:
            sector, wall = low + int(self.walls[row, low:high].argmax()), row
        else:
            sector = low + int(self.walls[:, low:high].max(axis=0).argmax())
            wall = int(self.walls[:, sector].argmax())
        return Worst(value, sector, at, at + self.window, _channel(self.walls, wall))


def any_wall(rows: Mask) -> Mask:
    """Whether it is so of either wall: (walls, n) to (n,)."""
    either: Mask = np.logical_or.reduce(rows, axis=0)
    return either


def _channel(rows: Array, wall: int) -> str | None:
    return CHANNELS[wall] if len(rows) == 2 else None


def furthest(measure: str, bound: float) -> float:
    """Return the last value of a trace, in its own unit, that keeps to a bound in the unit of the measurement."""
    how = MEASURES[measure]
    return limit_with_tolerance(bound, how.op, how.unit) / how.factor


def trace(cutting: Cutting, measure: str, without: Mask | None = None) -> Trace | None:
    """Follow a measurement along a side; sectors `without` count for nothing. None for a number of the whole side."""
    if measure in OF_SECTORS:
        rows = np.atleast_2d(OF_SECTORS[measure](cutting))
        op = MEASURES[measure].op
        if without is not None and measure not in OF_TRAVEL:
            rows = np.where(without, -np.inf if op == "<=" else np.inf, rows)
        return Trace(rows, 1, op, rows)
    if measure in SHARES:
        of, seconds = SHARES[measure]
        return _share(np.atleast_2d(of(cutting)), seconds, without)
    if measure in TIMES:
        values, walls, beyond = TIMES[measure].along(cutting, without)
        return Trace(values[None, :], walls.shape[1] + 1 - len(values), "<=", walls, beyond)
    if measure == SWING:
        return _kept(cutting, without)
    if measure in DRIVES:
        return _drive(cutting, DRIVES[measure], without)
    return None


def _share(ratio: Array, seconds: int, without: Mask | None) -> Trace:
    if without is not None:
        ratio = np.where(without, 0.0, ratio)
    window = min(seconds * SECTORS_A_SECOND, ratio.shape[1])
    beyond = ratio.max(axis=0) > 1.0
    over = np.cumsum(np.concatenate([[0], beyond]))
    return Trace((over[window:] - over[:-window])[None, :] / window, window, "<=", ratio, beyond.astype(np.float64))


def _drive(cutting: Cutting, seconds: int, without: Mask | None) -> Trace:
    square = cutting.side.envelopes.a_square
    if without is not None:
        square = np.where(without, 0.0, square)
    window = min(seconds * SECTORS_A_SECOND, square.shape[1])
    total = np.cumsum(np.pad(square, ((0, 0), (1, 0))), axis=1)
    means = (total[:, window:] - total[:, :-window]) / window
    scale, walls = cutting.scale, cutting.scale * np.sqrt(square)
    return Trace(scale * np.sqrt(np.maximum(0.0, means)), window, "<=", walls, walls.max(axis=0) ** 2)


def _kept(cutting: Cutting, without: Mask | None) -> Trace:
    swing = OF_SECTORS["groove.lateral_displacement_peak"](cutting)
    if without is not None:
        swing = np.where(without, 0.0, swing)
    values = kept_along(swing, 10 * SECTORS_A_SECOND, KEPT)
    return Trace(values[None, :], len(swing) + 1 - len(values), "<=", swing[None, :], swing**2)


def loud(measure: str, bound: float) -> float:
    """Return the value of `Trace.walls` above which a sector takes part in the excess of its window."""
    return 1.0 if counts(measure) else bound


def counts(measure: str) -> bool:
    """Whether a measurement is a share: of sectors, or of time."""
    return measure in SHARES or measure in TIMES


OF_SECTORS: dict[str, Callable[[Cutting], Array]] = {
    "groove.wall_velocity_peak": lambda c: c.scale * c.side.envelopes.v_abs,
    "groove.lateral_velocity_peak": lambda c: c.scale * c.side.envelopes.lateral_v,
    "groove.lateral_displacement_peak": lambda c: c.scale * c.side.swings,
    "groove.vertical_up_peak": lambda c: c.gain * c.walls.up,
    "groove.vertical_down_peak": lambda c: c.gain * c.walls.down,
    "groove.low_vertical_peak": lambda c: c.scale * c.side.envelopes.low_vertical,
    "groove.acceleration_peak": lambda c: c.scale * c.side.envelopes.a_abs,
    "groove.top_width_min": lambda c: c.top_width,
    "groove.depth_max": lambda c: c.greatest_depth,
    "groove.land_min": lambda c: c.spiral.land,
    "groove.lateral_slope_peak": lambda c: c.lateral_slope,
    "groove.lateral_speed_ratio_peak": lambda c: c.scale * c.side.envelopes.lateral_v / c.speed,
    "groove.vertical_slope_peak": lambda c: c.vertical_slope,
    "groove.tracing_ratio_peak": lambda c: c.tracing(c.side.envelopes.a_abs),
    "groove.tracing_ratio_peak_5um": lambda c: c.tracing(c.side.envelopes.a_abs, 5e-6),
    "groove.tracing_ratio_peak_18um": lambda c: c.tracing(c.side.envelopes.a_abs, 18e-6),
    "groove.last_diameter": lambda c: 2.0 * c.spiral_path.radius,
    "groove.travel": lambda c: np.cumsum(c.spiral.advance),
}
"""Measurements that every sector has a value of."""

OF_TRAVEL = ("groove.last_diameter", "groove.travel", "layout.lead_out_room")
"""Those that only grow along the side: no stretch of it can be left out of them."""

SHARES: dict[str, tuple[Callable[[Cutting], Array], int]] = {
    "groove.lateral_slope_share": (lambda c: c.lateral_slope, 10),
    "groove.vertical_slope_share": (lambda c: c.vertical_slope, 10),
    "groove.tracing_ratio_share": (lambda c: c.tracing(c.side.envelopes.a_abs), 10),
    "groove.sibilance_share": (lambda c: c.tracing(c.side.envelopes.sibilance_a), 1),
}
"""Ratio that is above 1 where a sector counts, and the seconds of the window."""

DRIVES = {"groove.drive_1s": 1, "groove.drive_10s": 10}
"""Seconds of the window."""
