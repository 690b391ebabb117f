"""A spiral by brute force: both edges of the groove at every sample, laid turn by turn, and the land between them.

It shares no code with the package that it checks. The carriage is the plain formula of the groove model, sector by
sector, with every sum written out; the edges are those of the band-limited motion on its grid of 352.8 or 384 kHz, and
the land between a turn and the one before it is measured at every point of that grid.

SI units. Left is the inner wall and right the outer one (L-1).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from whole_array.model import F64, SQRT2, Chain, Motion


@dataclass(frozen=True, eq=False)
class Laid:
    """A spiral laid: radius after each sector, (n,), and the least land at any point of each sector, (n,), in m.

    `advance` is the way of the carriage in each sector.
    """

    radius: F64
    advance: F64
    land: F64


def lay(moved: Motion, chain: Chain, scale: float, advance: F64 | None = None) -> Laid:
    """Lay a side without marks from frame 0 to its last whole sector; `scale` brings the motion to its level.

    The carriage goes its own way, or by the `advance` of each sector that is given.
    """
    n = moved.d.shape[1] // moved.sector
    d = scale * moved.d[:, : n * moved.sector].reshape(2, n, moved.sector)
    depth = _depth((d[0] - d[1]).max(axis=1) / SQRT2, chain)
    demand = _demand(d, depth, chain)
    if advance is None:
        run_in, advance = _carriage(demand, chain)
    else:  # before the start the carriage knows no more than the first turn
        run_in, _ = _carriage(demand[: chain.sectors_a_turn], chain)
    before = np.concatenate([run_in, advance])
    turn = len(run_in)
    # where the carriage stands at each point, from a turn before the start on
    way = np.concatenate([[0.0], np.cumsum(before)]) - run_in.sum()
    points = np.arange(len(before) * moved.sector + 1) / moved.sector
    middle = chain.outer_diameter / 2.0 - np.interp(points, np.arange(len(before) + 1), way)
    inner, outer = _edges(middle[:-1], d, depth, turn, chain)
    land = (inner[: n * moved.sector] - outer[turn * moved.sector :]).reshape(n, moved.sector)
    return Laid(middle[:: moved.sector][turn + 1 :], advance, land.min(axis=1))


def _depth(up: F64, chain: Chain) -> F64:
    """Depth of each sector: what the greatest rise within the preview on either side asks for."""
    plain = chain.top_width / 2.0
    if chain.depth == "fixed":
        return np.full(len(up), plain)
    reach = math.floor(chain.preview_turn * chain.sectors_a_turn + 0.5)
    near = np.array([up[max(0, i - reach) : i + reach + 1].max() for i in range(len(up))])
    return np.minimum(np.maximum(chain.keep_width / 2.0 + near, plain), chain.nominal_depth)


def _demand(d: F64, depth: F64, chain: Chain) -> list[float]:
    """Pitch that each sector asks for at both its ends."""
    turn = chain.sectors_a_turn
    wanted = []
    for i, own in enumerate(depth):
        other = depth[i - turn] if i >= turn else chain.top_width / 2.0
        inward = d[0, i - turn].min() if i >= turn else 0.0
        wanted.append(float(own + other + chain.land + SQRT2 * (d[1, i].max() - inward)))
    return [max(pair) for pair in zip(wanted, [*wanted[1:], wanted[-1]], strict=True)]


def _carriage(demand: list[float], chain: Chain) -> tuple[F64, F64]:
    """Advance of the turn before the start and of every sector: each demand spread evenly over the time it is known."""
    turn, n = chain.sectors_a_turn, len(demand)
    ahead = math.floor(chain.preview_turn * turn + 0.5)
    base, most = (chain.top_width + chain.land) / turn, chain.max_pitch / turn
    gone = dict.fromkeys(range(-2 * turn, -ahead), base)
    for i in range(-ahead, n):
        asked = base
        for j in range(max(i, 0), min(i + ahead, n - 1) + 1):
            given = sum(gone[k] for k in range(j - turn + 1, i))
            asked = max(asked, (demand[j] - given) / (j - i + 1))
        gone[i] = min(asked, most)
    return np.array([gone[i] for i in range(-turn, 0)]), np.array([gone[i] for i in range(n)])


def _edges(middle: F64, d: F64, depth: F64, turn: int, chain: Chain) -> tuple[F64, F64]:
    """Inner and outer edge at every point, from a turn of unmodulated groove before the start on."""
    size = d.shape[2]
    deep = np.concatenate([np.full(turn, chain.top_width / 2.0), depth]).repeat(size)
    still = np.zeros(turn * size)
    inner = middle - deep + SQRT2 * np.concatenate([still, d[0].reshape(-1)])
    outer = middle + deep + SQRT2 * np.concatenate([still, d[1].reshape(-1)])
    return inner, outer
