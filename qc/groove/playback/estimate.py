"""Estimate of the playback residual and the loss of treble in each second of a side, from its cells of 1 ms.

Playing a side exactly takes longer than all else together. What the tip and the back edges make of a groove grows with
the tracing ratio e = R |a| / V^2 and with the slopes s = |v| / (V tan back), so the means of their fourth powers over
the 1,000 cells of a second say how the second will play: a fit against the exact model. The means are kept for 0 dBFS,
and any level, radius and tip takes no more than a product.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut_arrays import CutArrays

Array = NDArray[np.float64]

RESIDUAL, TOP_LOSS = "groove.playback_residual", "groove.top_loss"


@dataclass(frozen=True, slots=True)
class Fit:
    """Decibels of a second: base + slope * 10 log10(tracing * mean e^4 + lateral * mean s^4 + vertical * mean s^4)."""

    base: float
    slope: float
    tracing: float
    lateral: float
    vertical: float
    scatter: float
    """dB rms, of the exact model about the fit"""

    def decibels(self, powers: Array) -> Array:
        """Return the fit for mean fourth powers (3, seconds): tracing ratio, lateral and vertical slope."""
        weighted = self.tracing * powers[0] + self.lateral * powers[1] + self.vertical * powers[2]
        found: Array = self.base + self.slope * 10.0 * np.log10(np.maximum(weighted, 1e-30))
        return found


OF_RESIDUAL = Fit(-19.1, 0.465, 1.0, 5.55, 8.51, 2.7)
"""Practice, fitted against the exact model on 3,023 seconds of 46 programmes at levels from -12 to +6 dB and radii from
60 to 146 mm. Scatter: 2.7 dB rms between -25 and -10 dB, 3.2 dB over all."""
OF_TOP_LOSS = Fit(-3.36, 0.738, 1.0, 5.53, 6.53, 0.9)
"""20 log10 of the loss in dB; practice, fitted on the same seconds. Scatter: 0.9 dB of loss, rms, between 0.3 and 4."""
LEAST_DB, MOST_DB = -45.0, 5.0
"""Range of residuals that the fit was made in, dB; an estimate beyond is taken as its end."""
MOST_LOSS_DB = 15.0
"""Greatest loss that the fit was made with, dB."""


@dataclass(frozen=True, eq=False)
class PlaybackSeconds:
    """Residual from 2 to 15 kHz and loss from 10 to 15 kHz in each second of a side, dB, (seconds,).

    NaN without programme. starts: the first sector of each; seconds follow each other from the side's beginning, and
    the last one ends with the side. played: the seconds, by number, that were replayed; all others are estimates.
    """

    starts: NDArray[np.intp]
    sectors: int
    """sectors of a second, fewer on a shorter side"""
    residual: Array
    top_loss: Array
    played: frozenset[int] = frozenset()

    @property
    def by_name(self) -> dict[str, Array]:
        """Return the values by measurement."""
        return {RESIDUAL: self.residual, TOP_LOSS: self.top_loss}

    def worst(self, name: str) -> int | None:
        """Return the second whose value is published: the worst of those replayed, else of all; None without any."""
        values = self.by_name[name]
        among = np.array([index for index in self.played if not math.isnan(values[index])], dtype=np.intp)
        if not len(among):
            among = np.flatnonzero(~np.isnan(values))
        return int(among[values[among].argmax()]) if len(among) else None

    def along(self, name: str, sectors: int) -> Array:
        """Return a value for each sector of the side, (sectors,): that of the last second it is part of.

        Estimates above the worst second that was replayed are taken as that one's.
        """
        values, worst = self.by_name[name], self.worst(name)
        if worst is not None:
            values = np.minimum(values, values[worst])
        found = np.full(sectors, np.nan)
        for start, value in zip(self.starts, values, strict=True):
            found[start : start + self.sectors] = value
        return found


def estimate(cutting: CutArrays) -> PlaybackSeconds:
    """Estimate how each second of a side plays as cut, with the chain's tip and back angle."""
    seconds, playback = cutting.side.second_powers, cutting.side.chain.playback
    speed = cutting.speed[seconds.starts + seconds.sectors // 2]
    tip = playback.tip_radius * cutting.scale / speed**2
    edges = cutting.scale / (speed * math.tan(playback.back_angle))
    ratios = seconds.powers * np.vstack([tip, edges, edges]) ** 4
    residual = np.clip(OF_RESIDUAL.decibels(ratios), LEAST_DB, MOST_DB)
    loss = np.minimum(10.0 ** (OF_TOP_LOSS.decibels(ratios) / 20.0), MOST_LOSS_DB)
    return PlaybackSeconds(seconds.starts, seconds.sectors, residual, loss)
