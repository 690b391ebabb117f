"""The table of traces: a row for each sector of each side, its columns and the traces that fill them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.groove.figures.curves import COLUMNS
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.report import Geometry
from qc.plugin_base import Curve, Evidence, Report
from qc.text.sanitize import shown

Array = NDArray[np.float64]

SIDE, SECOND, TRACK = "side", "file second [s]", "track"


@dataclass(frozen=True, eq=False)
class Rows:
    """The rows of one side: seconds (n,), track numbers (n,), 0 without one, and columns by header (n,)."""

    side: str
    seconds: Array
    tracks: NDArray[np.int32]
    columns: Mapping[str, Array]

    def __len__(self) -> int:
        return len(self.seconds)


def headers(report: Report, evidence: Evidence) -> tuple[str, ...]:
    """Return the headers of the columns: those of the groove, then a curve each, with their units."""
    curves = (evidence.curves.get(side.id, {}).items() for side in report.sides)
    return (*COLUMNS, *dict.fromkeys(_header(name, curve) for of_side in curves for name, curve in of_side))


def _header(name: str, curve: Curve) -> str:
    return f"{name} [{curve.unit}]"


def tables(report: Report, evidence: Evidence) -> Iterator[Rows]:
    """Yield the rows of each measured side, in the delivery's order; NaN is a missing value."""
    there = headers(report, evidence)
    for side in report.sides:
        traces = evidence.traces.get(side.id)
        if side.geometry is None or not traces:
            continue
        sectors = len(next(iter(traces.values())))
        first = round(side.geometry.span_start_s * SECTORS_A_SECOND)
        seconds = (first + np.arange(sectors)) / SECTORS_A_SECOND
        curves = evidence.curves.get(side.id, {}).items()
        columns = {header: traces[name] for header, name in COLUMNS.items() if name in traces}
        columns |= {_header(name, curve): _by_sector(curve, seconds) for name, curve in curves}
        missing = np.full(sectors, np.nan)
        yield Rows(
            shown(side.id), seconds, _tracks(side.geometry, first, sectors),
            {header: columns.get(header, missing) for header in there},
        )  # fmt: skip


def _by_sector(curve: Curve, seconds: Array) -> Array:
    """Return the value of a curve that is nearest to the middle of each sector, (n,); NaN where the curve is not.

    `seconds` (n,) are the starts of the sectors; a curve reaches half a step beyond its first and last value.
    """
    middles = seconds + 0.5 / SECTORS_A_SECOND
    index = np.floor((middles - curve.start_s) / curve.step_s + 0.5)
    inside = (index >= 0) & (index < len(curve.values))
    values = np.full(len(seconds), np.nan)
    values[inside] = curve.values[index[inside].astype(np.int64)]
    return values


def _tracks(geometry: Geometry, first: int, sectors: int) -> NDArray[np.int32]:
    """Return for each sector the number of the track that plays or played last; the first before it begins."""
    numbers = np.zeros(sectors, np.int32)
    begin = [track.start_s * SECTORS_A_SECOND - first for track in geometry.tracks]
    for index, track in enumerate(geometry.tracks):
        # a track owns the sector in which it begins
        numbers[0 if not index else max(0, int(np.floor(begin[index] + 1e-6))) :] = track.number
    return numbers
