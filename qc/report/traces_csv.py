"""The table of traces as CSV (RFC 4180): numbers with the digits that give them back exactly, nothing for no value."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import BinaryIO

import numpy as np

from qc.report.traces_table import COLUMNS, SECOND, SIDE, TRACK, Rows

AT_ONCE = 8192
"""Rows that are put into text together."""
FORMULA = ("=", "+", "-", "@")
"""What a spreadsheet takes for the beginning of a formula."""


def write_csv(sides: Iterable[Rows], out: BinaryIO) -> None:
    """Write UTF-8, lines ended by CR LF."""
    out.write(_row([SIDE, SECOND, TRACK, *COLUMNS]).encode())
    for rows in sides:
        parts = (slice(start, start + AT_ONCE) for start in range(0, len(rows), AT_ONCE))
        out.writelines(_lines(rows, part).encode("utf-8", "replace") for part in parts)


def _lines(rows: Rows, part: slice) -> str:
    side = _row([f"'{rows.side}" if rows.side.startswith(FORMULA) else rows.side]).removesuffix("\r\n")
    tracks = [str(track) if track else "" for track in rows.tracks[part].tolist()]
    columns = [_written(column[part]) for column in rows.columns.values()]
    lines = map(",".join, zip(_written(rows.seconds[part]), tracks, *columns, strict=True))
    return "".join(f"{side},{line}\r\n" for line in lines)


def _written(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[str]:
    """Write numbers with the fewest digits that give each of them back."""
    texts = [*map(repr, values.tolist())]
    return ["" if text == "nan" else text for text in texts] if np.isnan(values).any() else texts


def _row(cells: list[str]) -> str:
    held = io.StringIO()
    csv.writer(held).writerow(cells)
    return held.getvalue()
