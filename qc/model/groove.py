"""The groove of a side at one cut level as arrays by sector, for what is derived from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from qc.model.quantity import At, Polarity
from qc.model.track import Track, track_at

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Groove:
    """The groove of a side at one cut level, sector by sector; a sector is 1/75 s, and n the number of sectors.

    Arrays are read-only, (n,), in float64 but for the two masks. Where a side is judged in both polarities, land,
    width, depth, slopes and tracing are those of the worse one in each sector; radius and pitch are those of
    `polarity`, which travels further.
    """

    level_db: float
    """cut level, dB"""
    chain: Chain
    """the assumed chain from the file to the stylus"""
    polarity: Polarity
    start_s: float
    """start of the span that is cut, in file seconds"""
    end_s: float
    """end of the span"""
    tracks: tuple[Track, ...]
    """declared tracks, times in file seconds"""
    programme: Mask
    """whether there is programme in the middle of the sector; False in silence and noise"""
    mark: Mask
    """whether the groove is spread there to make a visible mark between two tracks"""
    time_s: Array
    """start of the sector, file seconds"""
    radius_mm: Array
    """distance from the centre of the disc to the middle of the groove, at the end of the sector"""
    turn: Array
    """turns since the start of the span, at the start of the sector: 0, 1/N, 2/N ... with N sectors a turn"""
    pitch_um: Array
    """distance inwards from the middle of the groove one turn before, at the end of the sector"""
    land_um: Array
    """least surface left between the groove and the one a turn before; negative where they overlap"""
    top_width_um: Array
    """least width at the surface"""
    depth_um: Array
    """greatest depth"""
    lateral_slope: Array
    """greatest lateral velocity over what the cutter's back edges allow at that radius"""
    vertical_slope: Array
    """greatest vertical velocity over what the cutter's back edges allow at that radius"""
    tracing_ratio: Array
    """greatest ratio of the tip's radius to the radius of the groove's curve, of the greater wall"""
    drive_g: Array
    """root mean square of the acceleration, of the greater wall in each sector, in multiples of 9.80665 m/s2; its mean
    over a second is therefore up to a few percent above `groove.drive_1s`, which is of one wall all along"""

    def __len__(self) -> int:
        """Return the number of sectors."""
        return len(self.time_s)

    def part(self, start: int, end: int) -> Groove:
        """Return the sectors from `start` to before `end`, as views of the same arrays."""
        arrays: dict[str, Any] = {
            f.name: a[start:end] for f in fields(self) if isinstance(a := getattr(self, f.name), np.ndarray)
        }
        return replace(self, **arrays)

    def by_turn(self) -> Iterator[Groove]:
        """Yield turn after turn, each as views of the arrays; the last turn may be a part of one."""
        turn = self.chain.disc.sectors_a_turn
        return (self.part(start, min(start + turn, len(self))) for start in range(0, len(self), turn))

    def at(self, start: int, end: int | None = None) -> At:
        """Place the sectors from `start` to before `end`, or one sector: seconds, track and radius.

        Raises IndexError where there is no such sector.
        """
        end = start + 1 if end is None else end
        if not 0 <= start < end <= len(self):
            raise IndexError(f"there are no sectors {start} to {end} among {len(self)}")
        first = round(float(self.time_s[start]) * SECTORS_A_SECOND)
        return At(
            start_s=first / SECTORS_A_SECOND,
            end_s=min((first + end - start) / SECTORS_A_SECOND, self.end_s),
            track=track_at(self.tracks, first),
            radius_mm=float(self.radius_mm[start]),
        )
