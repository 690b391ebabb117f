"""The table of traces: a row for each sector of each side, its columns and the traces that fill them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.report import Geometry
from qc.plugin_base import Evidence, Report
from qc.text.sanitize import shown

Array = NDArray[np.float64]

SIDE, SECOND, TRACK = "side", "file second [s]", "track"
COLUMNS: Mapping[str, str] = {
    "radius [mm]": "groove.radius",
    "pitch demanded [um]": "groove.pitch_demanded",
    "pitch given [um]": "groove.pitch",
    "land [um]": "groove.land_min",
    "top width [um]": "groove.top_width_min",
    "depth [um]": "groove.depth_max",
    "lateral slope [1]": "groove.lateral_slope_peak",
    "vertical slope [1]": "groove.vertical_slope_peak",
    "tracing ratio [1]": "groove.tracing_ratio_peak",
    "wall velocity [cm/s]": "groove.wall_velocity_peak",
    "lateral velocity [cm/s]": "groove.lateral_velocity_peak",
    "acceleration [g]": "groove.acceleration_peak",
    "drive over 1 s [g]": "groove.drive_1s",
    "drive over 10 s [g]": "groove.drive_10s",
    "playback residual [dB]": "groove.playback_residual",
    "top loss [dB]": "groove.top_loss",
}
"""Header with its unit -> name of the trace."""


@dataclass(frozen=True, eq=False)
class Rows:
    """The rows of one side: seconds (n,), track numbers (n,), 0 without one, and columns by header (n,)."""

    side: str
    seconds: Array
    tracks: NDArray[np.int32]
    columns: Mapping[str, Array]

    def __len__(self) -> int:
        return len(self.seconds)


def tables(report: Report, evidence: Evidence) -> Iterator[Rows]:
    """Yield the rows of each measured side, in the delivery's order; NaN is a missing value."""
    for side in report.sides:
        traces = evidence.traces.get(side.id)
        if side.geometry is None or not traces:
            continue
        sectors = len(next(iter(traces.values())))
        first = round(side.geometry.span_start_s * SECTORS_A_SECOND)
        missing = np.full(sectors, np.nan)
        yield Rows(
            shown(side.id),
            (first + np.arange(sectors)) / SECTORS_A_SECOND,
            _tracks(side.geometry, first, sectors),
            {header: traces.get(name, missing) for header, name in COLUMNS.items()},
        )


def _tracks(geometry: Geometry, first: int, sectors: int) -> NDArray[np.int32]:
    """Return for each sector the number of the track that plays or played last; the first before it begins."""
    numbers = np.zeros(sectors, np.int32)
    begin = [track.start_s * SECTORS_A_SECOND - first for track in geometry.tracks]
    for index, track in enumerate(geometry.tracks):
        # a track owns the sector in which it begins
        numbers[0 if not index else max(0, int(np.floor(begin[index] + 1e-6))) :] = track.number
    return numbers
