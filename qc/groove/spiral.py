"""How the turns lie: the pitch that the programme demands, the spiral as cut, and the least possible one.

Sector i lies beside sector i - N, one turn earlier. The carriage knows what is coming half a turn ahead (V-1) and
spreads each demand evenly over the time it is known; it has no inertia.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.chain import Cut, Disc
from qc.dsp.jit import kernel, reduction

Array = NDArray[np.float64]

TOUCH = 1e-8
"""m by which land may fall below nought and still count as met, as for every width."""


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

    @property
    def last_radius(self) -> float:
        """Radius at the end of the side."""
        return float(self.radius[-1])

    @property
    def overlaps(self) -> int:
        """Number of stretches in which neighbouring grooves touch."""
        touching = np.concatenate([[False], self.land < -TOUCH])
        return int(np.count_nonzero(touching[1:] & ~touching[:-1]))


def lookahead(cut: Cut, disc: Disc) -> int:
    """Sectors by which the carriage and the depth know what is coming, less than a turn."""
    turn = disc.sectors_a_turn
    return min(int(cut.preview * turn + 0.5), turn - 1)


def demanded(depth: Array, out: Array, inward: Array, cut: Cut, turn: int) -> Array:
    """Pitch demanded without land, (n,): two half widths and the excursions that face each other, in m.

    `out` is the greatest displacement of the right wall, `inward` the least of the left; before the start the
    groove is unmodulated and `top_width` wide.
    """
    before_depth = np.concatenate([np.full(turn, cut.top_width / 2.0), depth])[: len(depth)]
    before_in = np.concatenate([np.zeros(turn), inward])[: len(depth)]
    pitch: Array = depth + before_depth + np.sqrt(2.0) * (out - before_in)
    return pitch


def wind(taken: Array, marks: Array, cut: Cut, disc: Disc) -> Spiral:
    """Wind a side from the pitch its grooves take (without land) and the least advance of its marks."""
    turn, ahead = disc.sectors_a_turn, lookahead(cut, disc)
    demand = taken + cut.land
    both_ends = demand.copy()
    np.maximum(demand[:-1], demand[1:], out=both_ends[:-1])
    base, cap = (cut.top_width + cut.land) / turn, cut.max_pitch / turn
    advance, pitch = np.empty_like(demand), np.empty_like(demand)
    shares = 1.0 / np.arange(1.0, ahead + 2.0)
    as_cut(both_ends, base, cap, turn, ahead, shares, marks, advance, pitch)
    left = pitch - taken
    left[1:] = np.minimum(left[1:], pitch[:-1] - taken[1:])
    travelled = np.cumsum(advance)
    return Spiral(
        advance=advance,
        radius=disc.outer / 2.0 - travelled,
        pitch=pitch,
        land=left,
        travel=float(travelled[-1]),
        travel_least=float(least_possible(both_ends, base, turn)),
    )


@reduction
def _steepest(known: Array, done: float, shares: Array, low: int, high: int, first: int) -> float:
    """Greatest advance that any demand ahead asks for when it is spread evenly over the sectors up to it."""
    top = 0.0
    for j in range(low, high):
        top = max(top, (known[j] - done) * shares[j - first])
    return top


@kernel
def as_cut(
    demand: Array,
    base: float,
    cap: float,
    turn: int,
    ahead: int,
    shares: Array,
    marks: Array,
    advance: Array,
    pitch: Array,
) -> None:
    """Fill advance and pitch given, sector by sector; `shares[m]` is 1/(m + 1)."""
    n, off = demand.shape[0], turn + ahead
    cum = np.empty(n + off + 1)  # cum[i + off]: all advances before sector i, from i = -off on
    for i in range(turn + 1):
        cum[i] = base * i
    known = np.empty(n)  # demand plus what was advanced a turn before: less cum, it is what is still to be given
    filled = 0
    for i in range(-ahead, n):
        high = min(i + ahead + 1, n)
        while filled < high:
            known[filled] = demand[filled] + cum[filled - turn + 1 + off]
            filled += 1
        step = max(base, _steepest(known, cum[i + off], shares, max(i, 0), high, i))
        if i >= 0:
            step = min(max(step, marks[i]), max(cap, marks[i]))
            advance[i] = step
        else:
            step = min(step, cap)
        cum[i + 1 + off] = cum[i + off] + step
    for i in range(n):
        pitch[i] = cum[i + 1 + off] - cum[i - turn + 1 + off]


@kernel
def least_possible(demand: Array, base: float, turn: int) -> float:
    """Travel when every demand is met at the last moment, without marks: the physical floor, in m."""
    n = demand.shape[0]
    cum = np.empty(n + turn + 1)
    for i in range(turn + 1):
        cum[i] = base * i
    for i in range(n):
        cum[i + turn + 1] = cum[i + turn] + max(0.0, demand[i] + cum[i + 1] - cum[i + turn])
    return cum[n + turn] - cum[turn]
