"""The table of traces as CSV (RFC 4180): digits that restore numbers exactly, empty cells for missing values."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray
from pydantic_core import to_json

from qc.report.traces.table import SECOND, SIDE, TRACK, Rows

AT_ONCE = 8192
"""Rows that are formatted together."""
LEAST, MOST = 1e-4, 1e15
"""Range in which JSON and Python write a number alike; outside it their exponents differ."""
FORMULA = ("=", "+", "-", "@")
"""Characters that begin a formula in a spreadsheet."""


def write_csv(headers: Sequence[str], sides: Iterable[Rows], out: BinaryIO) -> None:
    """Write the rows as UTF-8, lines ended by CR LF."""
    out.write(_row([SIDE, SECOND, TRACK, *headers]).encode())
    for rows in sides:
        parts = (slice(start, start + AT_ONCE) for start in range(0, len(rows), AT_ONCE))
        out.writelines(_lines(rows, part).encode("utf-8", "replace") for part in parts)


def _lines(rows: Rows, part: slice) -> str:
    side = _row([f"'{rows.side}" if rows.side.startswith(FORMULA) else rows.side]).removesuffix("\r\n")
    tracks = [str(track) if track else "" for track in rows.tracks[part].tolist()]
    columns = [digits(column[part]) for column in rows.columns.values()]
    lines = map(",".join, zip(digits(rows.seconds[part]), tracks, *columns, strict=True))
    return "".join(f"{side},{line}\r\n" for line in lines)


def digits(values: NDArray[np.float64]) -> list[str]:
    """Write numbers (n,) with the fewest digits that restore each, as `repr` does; NaN becomes an empty text."""
    size = np.abs(values)
    if np.all((size == 0.0) | ((size >= LEAST) & (size < MOST))):
        return to_json(values.tolist()).decode().strip("[]").split(",")  # as repr, in a quarter of the time
    return ["" if math.isnan(value) else repr(value) for value in values.tolist()]


def _row(cells: list[str]) -> str:
    line = io.StringIO()
    csv.writer(line).writerow(cells)
    return line.getvalue()
