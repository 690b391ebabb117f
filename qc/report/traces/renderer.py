"""The format `traces`: a row of numbers for each sector, as CSV or Parquet, for plots of your own."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import BinaryIO, Self

from qc.model.errors import UsageError
from qc.plugin_base import Evidence, Renderer, Report
from qc.report.registry import formats
from qc.report.views.stored_sides import measured_earlier_lines
from qc.text.sanitize import shown

CSV, PARQUET = ".csv", ".parquet"


class Traces(Renderer):
    """Writes the measured values of each sector of 1/75 s at the judged level, as CSV or Parquet."""

    name = "traces"
    suffixes = (CSV, PARQUET)
    draws = True

    def __init__(self, *, parquet: bool = False) -> None:
        self.parquet = parquet

    @classmethod
    def for_path(cls, path: Path | None) -> Self:
        """Build the renderer for a path, CSV for stdout; raises UsageError for another suffix or without pyarrow."""
        suffix = CSV if path is None else path.suffix.lower()
        if path is not None and suffix not in cls.suffixes:
            raise UsageError(f"--out traces: {shown(path.name)} is neither .csv nor .parquet; name it so")
        if suffix == PARQUET and find_spec("pyarrow") is None:
            install = formats()["traces"].install
            raise UsageError(f"--out traces: Parquet needs pyarrow, which is not installed; {install}, or name it .csv")
        return cls(parquet=suffix == PARQUET)

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write a header, then a row for each sector, side after side."""
        from qc.report.traces.table import headers, tables  # imports numpy, which other formats do not need

        columns, rows = headers(report, evidence), tables(report, evidence)
        earlier = "; ".join(measured_earlier_lines(report.run))  # goes to stderr, since a table has no place for it
        self.remark = f"traces: {earlier}" if earlier else ""
        if self.parquet:
            from qc.report.traces.parquet import write_parquet

            write_parquet(columns, rows, out)
        else:
            from qc.report.traces.csv_file import write_csv

            write_csv(columns, rows, out)
