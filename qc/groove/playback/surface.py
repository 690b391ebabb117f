"""One wall: the surface that the cutter leaves of its motion, and the path of a tip that rolls over it.

`z` is how far a wall was cut away from the groove's centre along its normal: -d of the left wall, d of the right one.

The cutter's back edges follow its face and narrow at the back angle. Where the wall moves out faster than that, they
cut once more what the face has cut: the surface is the greatest, over u >= 0, of z(s + u) - u tan(back) / sqrt2, since
an edge moves sqrt2 z (C-1). Only what is cut away counts, so it is a maximum.

The tip lies inside the groove and touches the wall from there: its centre gets out as far as the least, over u, of
z(s + u) + R - sqrt(R^2 - u^2) (C-3, S17). So a lateral cut lifts it wherever the groove is steep: the pinch effect.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel
from qc.dsp.kernels.simd import lesser, loader, splatter, store

Array = NDArray[np.float64]

_WIDE = 8
AT_ONCE = 4 * _WIDE
"""Points of a path that are worked out at once; `rolled` needs so much room behind its rows."""
_load, _splat = loader(_WIDE), splatter(_WIDE)


@kernel
def recut(z: Array, fall: Array, block: int, out: Array) -> None:
    """Set `out` to the surface that the back edges leave of `z`; `fall` is what they fall by a point, (blocks,).

    Block b, `block` points long, begins at point b block.
    """
    last = z.shape[0] - 1
    out[last] = z[last]
    for i in range(last - 1, -1, -1):
        out[i] = max(z[i], out[i + 1] - fall[i // block])


@kernel
def rolled(z: Array, step: Array, block: int, radius: float, margin: int, sag: Array, low: Array, out: Array) -> None:
    """Set out[i] to the path of a tip over z at point `margin` + i; `step` is the length of a point in m, (blocks,).

    z has `margin` points more than `out` on either side, at least radius / step. `sag` (margin + 2,) and
    `low` (block + AT_ONCE,) are room to work in, and z has AT_ONCE points of room behind its end. Blocks are those of
    z as in `recut`; `margin` is a whole number of them.
    """
    count = out.shape[0]
    for start in range(0, count, block):
        n = min(block, count - start)
        first = margin + start  # of z
        length = step[first // block]
        steepest, around = 0.0, min(margin - 1, int(radius / length) + 1)
        for k in range(first - around, first + n + around):
            steepest = max(steepest, abs(z[k] - z[k - 1]))
        wide = _sags(length, radius, steepest, sag)
        _lowest(z, first, n, sag, wide, low)
        _between(z, first, n, sag, wide, low, out, start)


@kernel
def _sags(length: float, radius: float, steepest: float, sag: Array) -> int:
    """Fill in how far the tip lies from the wall at each distance from its middle; return up to where it can touch.

    At a point where it touches, the tip falls away from one point to the next by no more than the wall does.
    """
    sag[0] = 0.0
    wide, last = 0, min(int(radius / length), sag.shape[0] - 2)
    for k in range(1, last + 2):
        u = k * length
        sag[k] = radius - np.sqrt(radius * radius - u * u) if u <= radius else np.inf
        if k <= last and sag[k] - sag[k - 1] <= steepest:
            wide = k
    return wide


@kernel
def _lowest(z: Array, first: int, n: int, sag: Array, wide: int, low: Array) -> None:
    """Set low[i] to the least of z + sag around point `first` + i, at points alone."""
    for i in range(0, n, AT_ONCE):
        k = first + i
        a, b, c, d = _load(z, k), _load(z, k + 8), _load(z, k + 16), _load(z, k + 24)
        for j in range(1, wide + 1):
            more = _splat(sag[j])
            a = lesser(a, lesser(_load(z, k - j), _load(z, k + j)) + more)
            b = lesser(b, lesser(_load(z, k + 8 - j), _load(z, k + 8 + j)) + more)
            c = lesser(c, lesser(_load(z, k + 16 - j), _load(z, k + 16 + j)) + more)
            d = lesser(d, lesser(_load(z, k + 24 - j), _load(z, k + 24 + j)) + more)
        store(low, i, a)
        store(low, i + 8, b)
        store(low, i + 16, c)
        store(low, i + 24, d)


@kernel
def _between(
    z: Array, first: int, n: int, sag: Array, wide: int, low: Array, out: Array, to: int
) -> None:  # fmt: skip
    """Refine the least between points, by the parabola through the point that is touched and its neighbours.

    The point that is touched never goes back along the groove, so it is looked for from the one before on. On a sharp
    ridge the parabola is wrong by a quarter of what the wall rises in a step, as good as the points themselves.
    """
    touched = first - wide
    for i in range(n):
        at, least = first + i, low[i]
        touched = max(touched, at - wide)
        while touched < at + wide and z[touched] + sag[abs(touched - at)] > least:
            touched += 1
        before = z[touched - 1] + sag[abs(touched - 1 - at)]
        after = z[touched + 1] + sag[abs(touched + 1 - at)]
        bend = before - 2.0 * least + after
        if 0.0 < bend < np.inf:
            out[to + i] = least - (after - before) ** 2 / (8.0 * bend)
        else:
            out[to + i] = least


def wall_path(z: Array, length: Array, block: int, tip: float, back_angle: float, margin: int) -> Array:
    """Return the path of a tip over one wall, m, without `margin` points at either end.

    z: (points,) motion of the wall, m, away from the groove's centre. length: (blocks,) of a point along the groove, m.
    tip: radius along the groove, m; 0 follows the surface itself. back_angle: rad.
    """
    points = len(z)
    cut: Any = np.zeros(points + AT_ONCE)
    recut(z, length * (math.tan(back_angle) / math.sqrt(2.0)), block, cut[:points])
    if tip <= 0.0:
        surface: Array = cut[margin : points - margin]
        return surface
    out = np.empty(points - 2 * margin)
    rolled(cut, length, block, tip, margin, np.empty(margin + 2), np.empty(block + AT_ONCE), out)
    return out
