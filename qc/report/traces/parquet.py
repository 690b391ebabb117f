"""The table of traces as Parquet: the columns of the CSV, a row group a side, the unit of each in its metadata."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import BinaryIO

import pyarrow as pa
import pyarrow.parquet as pq

from qc.report.traces.table import SECOND, SIDE, TRACK, Rows


def write_parquet(headers: Sequence[str], sides: Iterable[Rows], out: BinaryIO) -> None:
    """Write one table, which has no rows if no side was measured."""
    numbers = [pa.field(name, pa.float64(), metadata={"unit": _unit(name)}) for name in (SECOND, *headers)]
    schema = pa.schema([pa.field(SIDE, pa.string()), numbers[0], pa.field(TRACK, pa.int32()), *numbers[1:]])
    with pq.ParquetWriter(out, schema) as writer:
        for rows in sides:
            tracks = pa.array(rows.tracks, mask=rows.tracks == 0)
            columns = [pa.array(column, from_pandas=True) for column in rows.columns.values()]  # NaN becomes null
            first = pa.array([rows.side] * len(rows), pa.string())
            writer.write_table(pa.table([first, pa.array(rows.seconds), tracks, *columns], schema=schema))


def _unit(header: str) -> str:
    return header.partition("[")[2].rstrip("]")
