"""Estimate of the playback residual and the loss of treble in each second of a side, from its cells of 1 ms.

Playing a side exactly takes longer than all else together. What the tip and the back edges make of a groove grows with
the tracing ratio R |a| / V^2, with the slopes |v| / (V tan back), and with the time R / V in which the tip passes its
own radius. So the means of the fourth powers over the 1,000 cells of a second say how the second will play: a fit
against the exact model. They are kept for 0 dBFS, and any level, radius and tip takes no more than a product.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut_arrays import CutArrays

Array = NDArray[np.float64]

RESIDUAL, TOP_LOSS = "groove.playback_residual", "groove.top_loss"


PASSING = 8e-6 / 0.35
"""s: a tip of 8 um passes its own radius at 100 mm from the centre, 33 1/3 turns a minute."""


@dataclass(frozen=True, slots=True)
class Fit:
    """Decibels of a second, of the mean fourth powers of tracing ratio e, lateral slope l and vertical slope v.

    base + slope * 10 log10(e^4 + lateral l^4 + vertical v^4) + passing * 20 log10(R / V / PASSING).
    """

    base: float
    slope: float
    lateral: float
    vertical: float
    passing: float
    scatter: float
    """dB rms, of the exact model about the fit"""

    def decibels(self, powers: Array, passing: Array) -> Array:
        """Return the fit for mean fourth powers (3, seconds), and R / V in s, (seconds,)."""
        weighted = powers[0] + self.lateral * powers[1] + self.vertical * powers[2]
        found: Array = (
            self.base
            + self.slope * 10.0 * np.log10(np.maximum(weighted, 1e-30))
            + self.passing * 20.0 * np.log10(passing / PASSING)
        )
        return found


OF_RESIDUAL = Fit(base=-23.0, slope=0.459, lateral=53.1, vertical=101.0, passing=0.686, scatter=2.3)
"""Practice, fitted against the exact model on 2,050 seconds of 45 programmes at levels from -12 to +6 dB and radii from
60 to 146 mm, with a tip of 8 um. Scatter 2.3 dB rms where the residual is -25 to -10 dB, 2.5 dB over all. A song with
tips of 5 and 18 um keeps to it within 2.5 dB."""
OF_TOP_LOSS = Fit(base=-16.3, slope=0.728, lateral=371.0, vertical=834.0, passing=1.465, scatter=0.5)
"""20 log10 of the loss in dB; practice, fitted on the same seconds. Scatter 0.5 dB of loss, rms, between 0.3 and 4."""
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


def powers_as_cut(cutting: CutArrays) -> tuple[Array, Array]:
    """Return what a `Fit` is of, for each second: mean fourth powers, (3, seconds), and R / V in s, (seconds,)."""
    seconds, playback = cutting.side.second_powers, cutting.side.chain.playback
    speed = cutting.speed[seconds.starts + seconds.sectors // 2]
    passing = playback.tip_radius / speed
    edges = cutting.scale / (speed * math.tan(playback.back_angle))
    return seconds.powers * np.vstack([passing / speed * cutting.scale, edges, edges]) ** 4, passing


def estimate(cutting: CutArrays) -> PlaybackSeconds:
    """Estimate how each second of a side plays as cut, with the chain's tip and back angle."""
    seconds, (powers, passing) = cutting.side.second_powers, powers_as_cut(cutting)
    residual = np.clip(OF_RESIDUAL.decibels(powers, passing), LEAST_DB, MOST_DB)
    loss = np.minimum(10.0 ** (OF_TOP_LOSS.decibels(powers, passing) / 20.0), MOST_LOSS_DB)
    return PlaybackSeconds(seconds.starts, seconds.sectors, residual, loss)
