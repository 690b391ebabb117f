"""Geometry of the turns: the pitch that the programme demands, the spiral as cut, and the least possible one.

Sector i lies next to sector i - N, one turn earlier. The carriage knows what is coming half a turn ahead (V-1) and
spreads each demand evenly from when it comes into sight; it has no inertia.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import as_written, read_only
from qc.model.cutting_chain import Cut, DiscGeometry

Array = NDArray[np.float64]

TOUCH = 1e-8
"""m by which land may fall below zero and still count as met, as for every width."""


@dataclass(frozen=True, eq=False)
class Spiral:
    """A side's spiral in m, one value a sector: advance, radius after it, pitch given, land left.

    `travel` is the sum of the advances, `travel_least` that of the least possible spiral.
    """

    advance: Array
    radius: Array
    pitch: Array
    land: Array
    travel: float
    travel_least: float
    path: SpiralPath

    @property
    def last_radius(self) -> float:
        """Radius at the end of the side."""
        return float(self.radius[-1])


@dataclass(frozen=True, eq=False)
class SpiralPath:
    """The path of a spiral: the radius after each sector, (sectors,), the travel, and the least land; all in m."""

    radius: Array
    travel: float
    land: float
    """the least that is left, m"""
    tightest: int
    """the sector where it is"""
    overlaps: int


def lookahead(cut: Cut, disc: DiscGeometry) -> int:
    """Sectors by which the carriage and the depth know what is coming, less than a turn."""
    turn = disc.sectors_a_turn
    return min(int(cut.preview * turn + 0.5), turn - 1)


def compute_path(
    right: Array, left: Array, rise_near: Array, unity: float, gain: float, marks: Array, cut: Cut, disc: DiscGeometry
) -> SpiralPath:  # fmt: skip
    """Compute the path of a side's spiral, and no array but its radius.

    `right` is the outermost displacement of the right wall in each sector and `left` the innermost of the left one,
    both in m at a cut level of 0 dB once multiplied by `unity`; `rise_near` is the greatest upward excursion within
    the preview, in m at 0 dB; `marks` the least advance of each sector.
    """
    radius, none = np.empty(len(right)), np.empty(0)
    _take(right, left, rise_near, unity, gain, cut, disc, radius)
    return _fill(marks, cut, disc, radius, none, none, none)


def compute_spiral(
    right: Array, left: Array, rise_near: Array, unity: float, gain: float, marks: Array, cut: Cut, disc: DiscGeometry
) -> Spiral:  # fmt: skip
    """Compute the spiral of a side as `compute_path` does, with all its arrays."""
    radius, advance, pitch, land = (np.empty(len(right)) for _ in range(4))
    _take(right, left, rise_near, unity, gain, cut, disc, radius)
    least = _least(cut, disc, radius)
    path = _fill(marks, cut, disc, radius, advance, pitch, land)
    return Spiral(advance, radius, pitch, land, path.travel, least, path)


def travel_least(
    right: Array, left: Array, rise_near: Array, unity: float, gain: float, cut: Cut, disc: DiscGeometry
) -> float:  # fmt: skip
    """Return the travel of the least possible spiral in m, from the arguments of `compute_path`."""
    taken = np.empty(len(right))
    _take(right, left, rise_near, unity, gain, cut, disc, taken)
    return _least(cut, disc, taken)


def radius_least(
    right: Array, left: Array, rise_near: Array, unity: float, gain: float, cut: Cut, disc: DiscGeometry
) -> Array:  # fmt: skip
    """Return the radius after each sector of the least possible spiral, m, from the arguments of `compute_path`."""
    taken = np.empty(len(right))
    _take(right, left, rise_near, unity, gain, cut, disc, taken)
    turn, before = disc.sectors_a_turn, np.empty(len(taken) + disc.sectors_a_turn + 1)
    least_possible(taken, cut.land, _base(cut, disc), turn, before)
    radius: Array = disc.outer / 2.0 - (before[turn + 1 :] - before[turn])
    return radius


def _least(cut: Cut, disc: DiscGeometry, taken: Array) -> float:
    turn = disc.sectors_a_turn
    return float(least_possible(taken, cut.land, _base(cut, disc), turn, np.empty(len(taken) + turn + 1)))


def _base(cut: Cut, disc: DiscGeometry) -> float:
    """Advance of a sector where nothing is cut, m."""
    return (cut.top_width + cut.land) / disc.sectors_a_turn


def _take(
    right: Array, left: Array, rise_near: Array, unity: float, gain: float, cut: Cut, disc: DiscGeometry, taken: Array
) -> None:  # fmt: skip
    plain = cut.top_width / 2.0
    deepest = cut.nominal_depth if cut.depth == "variable" else plain
    right, left = read_only(np.ascontiguousarray(right)), read_only(np.ascontiguousarray(left))
    take(
        right, left, rise_near, unity, gain, cut.keep_width / 2.0, plain, deepest, disc.sectors_a_turn, taken,
    )  # fmt: skip


def _fill(
    marks: Array, cut: Cut, disc: DiscGeometry, taken: Array, advance: Array, pitch: Array, land: Array
) -> SpiralPath:  # fmt: skip
    turn, shares = disc.sectors_a_turn, 1.0 / np.arange(1.0, lookahead(cut, disc) + 2.0)
    ring = 1 << (turn + 1).bit_length()  # more than a turn, as a power of two
    found = as_cut(
        taken, marks, cut.land, _base(cut, disc), cut.max_pitch / turn, turn, shares, disc.outer / 2.0, advance, pitch,
        land, np.empty((2, ring)),
    )  # fmt: skip
    return SpiralPath(taken, *found)


@as_written
def take(
    right: Array, left: Array, rise_near: Array, unity: float, gain: float, keep: float, plain: float, deepest: float,
    turn: int, taken: Array,
) -> None:  # fmt: skip
    """Fill in the pitch that each sector takes without land: two half widths, and the excursions that face each other.

    Depth keeps `keep` where the cutter rises, and lies between `plain` and `deepest`; before the start the groove is
    unmodulated and `plain` deep.
    """
    n, root = taken.shape[0], np.sqrt(2.0)
    for i in range(min(turn, n)):
        depth = min(max(keep + gain * rise_near[i], plain), deepest)
        taken[i] = depth + plain + root * (gain * (unity * right[i]))
    for i in range(turn, n):
        depth = min(max(keep + gain * rise_near[i], plain), deepest)
        depth_before = min(max(keep + gain * rise_near[i - turn], plain), deepest)
        taken[i] = depth + depth_before + root * (gain * (unity * right[i]) - gain * (unity * left[i - turn]))


@as_written
def _on(sector: int, ring: Any) -> Any:
    """Place of a sector on a ring of a power of two, less one; no sign is left to be looked at."""
    return np.uintp(sector) & ring


@as_written
def as_cut(  # noqa: C901, PLR0912 - one loop, whose every step depends on the one before
    radius: Array, marks: Array, land: float, base: float, cap: float, turn: int, shares: Array, outer: float,
    advance: Array, pitch: Array, left: Array, turns: Array,
) -> tuple[float, float, int, int]:  # fmt: skip
    """Compute the spiral; return travel and least land in m, the sector of that, and the number of overlaps.

    `radius` holds what each sector takes without land, and the radius after it once the sector is done; advance,
    pitch given and land left are filled in where they have room for it. `shares[m]` is 1/(m + 1), and the preview as
    long as they are.

    Of the demands ahead one asks for the greatest advance, the steepest: spread evenly, it keeps doing so until it is
    met, whatever lies between, since the carriage runs straight towards it and no demand in sight lies above that line.
    Only one that comes into sight can ask for more. A mark or the greatest pitch takes the carriage off the line;
    then all demands ahead are gone through again. Along `base` it is the same, with no demand to run towards.

    `turns` (2, a power of two from turn + 2 on) is room to work in.
    """
    n, ahead = radius.shape[0], shares.shape[0] - 1
    ring = np.uintp(turns.shape[1] - 1)
    # By sector, from turn + preview before the start on, and only the last turn of them:
    demands = turns[0]  # demand plus what was advanced a turn before: less `before`, what is still to be given
    before = turns[1]  # all advances before it
    for i in range(turn + 1):
        before[_on(i - turn - ahead, ring)] = base * i
    none = -turn - 1
    steepest, sure, done = none, True, before[_on(-ahead, ring)]
    travel, given, least, tightest, overlaps, touching = 0.0, np.inf, np.inf, 0, 0, False
    for i in range(-ahead, n):
        low, high, new = max(i, 0), min(i + ahead + 1, n), i + ahead
        if new < n:
            taken = radius[new] if new == n - 1 else max(radius[new], radius[new + 1])  # land holds at both ends
            demands[_on(new, ring)] = taken + land + before[_on(new - turn + 1, ring)]
        asked = base
        if steepest >= low:
            asked = (demands[_on(steepest, ring)] - done) * shares[steepest - i]
        elif steepest != none:
            sure = False
        if not sure and (steepest < low or asked < cap):
            asked, steepest, sure = base, none, True
            for j in range(low, high):
                demand = (demands[_on(j, ring)] - done) * shares[j - i]
                if demand > asked:
                    asked, steepest = demand, j
        elif new < n:
            demand = (demands[_on(new, ring)] - done) * shares[ahead]
            if demand >= asked:
                asked, steepest = demand, new
        step, mark = max(base, asked), marks[i] if i >= 0 else 0.0
        step_given = min(max(step, mark), max(cap, mark))
        if step_given != step:
            sure = False
        done += step_given
        before[_on(i + 1, ring)] = done
        if i < 0:
            continue
        last, given = given, done - before[_on(i + 1 - turn, ring)]
        room = min(given, last) - radius[i]
        travel += step_given
        radius[i] = outer - travel
        if room < least:
            least, tightest = room, i
        overlaps += room < -TOUCH and not touching
        touching = room < -TOUCH
        if advance.shape[0] > 0:
            advance[i], pitch[i], left[i] = step_given, given, room
    return travel, least, tightest, overlaps


@as_written
def least_possible(taken: Array, land: float, base: float, turn: int, before: Array) -> float:
    """Travel when every demand is met at the last moment, without marks: the physical floor, in m.

    `before` (n + turn + 1,) is filled with the travel before each sector, from a turn before the start on.
    """
    n = taken.shape[0]
    for i in range(turn + 1):
        before[i] = base * i
    for i in range(n):
        demand = (taken[i] if i == n - 1 else max(taken[i], taken[i + 1])) + land
        before[i + turn + 1] = before[i + turn] + max(0.0, demand + before[i + 1] - before[i + turn])
    return before[n + turn] - before[turn]
