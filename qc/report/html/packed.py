"""Arrays packed for the page's script: thinned out by their worst values, 16 bits each, base64."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.report.html.safe import Packed

Array = NDArray[np.float64]

POINTS = 16_384
"""Most points of a packed trace: a point is 80 ms of a side of 22 minutes."""
NOTHING = 65_535
"""The 16-bit value for a missing value."""


def thinned(values: Array, most: int, *, least: bool) -> tuple[Array, int]:
    """Keep the worst value of each stretch, the least or the greatest; return those values and the stretch's length.

    A stretch is as long as `most` values allow. The worst of all values is exact.
    """
    each = max(1, -(-len(values) // most))
    if each == 1:
        return values, 1
    bad = np.inf if least else -np.inf
    filled = np.where(np.isnan(values), bad, values)
    starts = np.arange(0, len(values), each)
    worst: Array = np.minimum.reduceat(filled, starts) if least else np.maximum.reduceat(filled, starts)
    return np.where(np.isinf(worst), np.nan, worst), each


def packed(values: Array, start_s: float, step_s: float, *, least: bool) -> dict[str, Any]:
    """Pack a trace whose first value is at `start_s`; its least and greatest value stay exact."""
    kept, each = thinned(values, POINTS, least=least)
    low = float(np.nanmin(kept)) if not np.isnan(kept).all() else 0.0
    high = float(np.nanmax(kept)) if not np.isnan(kept).all() else 0.0
    span = (high - low) or 1.0
    steps = np.where(np.isnan(kept), NOTHING, np.round((kept - low) / span * (NOTHING - 1)))
    text = base64.b64encode(steps.astype("<u2").tobytes()).decode("ascii")
    return {
        "start": start_s + step_s * (each - 1) / 2.0, "step": step_s * each, "low": low, "high": high,
        "values": Packed(text),
    }  # fmt: skip
