"""Every sector in numbers, a row each, for plots of one's own: CSV, or Parquet where the place is called so."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import BinaryIO, Self

from qc.model.errors import UsageError
from qc.plugin_api import Evidence, Renderer, Report
from qc.report.registry import formats
from qc.report.views.stored_sides import measured_earlier_lines
from qc.text.sanitize import shown

CSV, PARQUET = ".csv", ".parquet"


class Traces(Renderer):
    """Writes what every sector of 1/75 s measures at the judged level, as CSV, or as Parquet."""

    name = "traces"
    suffixes = (CSV, PARQUET)
    draws = True

    def __init__(self, *, parquet: bool = False) -> None:
        self.parquet = parquet

    @classmethod
    def for_path(cls, path: Path | None) -> Self:
        """Build it for a place, CSV on stdout; raises UsageError for another suffix, or where Parquet is not there."""
        suffix = CSV if path is None else path.suffix.lower()
        if path is not None and suffix not in cls.suffixes:
            raise UsageError(f"--out traces: {shown(path.name)} is neither .csv nor .parquet; name it so")
        if suffix == PARQUET and find_spec("pyarrow") is None:
            install = formats()["traces"].install
            raise UsageError(f"--out traces: Parquet needs pyarrow, which is not installed; {install}, or name it .csv")
        return cls(parquet=suffix == PARQUET)

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write a header, then a row a sector, side after side."""
        from qc.report.traces.table import tables  # its arrays are nobody else's business

        rows = tables(report, evidence)
        earlier = "; ".join(measured_earlier_lines(report.run))  # a table has no place to say it
        self.remark = f"traces: {earlier}" if earlier else ""
        if self.parquet:
            from qc.report.traces.parquet import write_parquet

            write_parquet(rows, out)
        else:
            from qc.report.traces.csv_file import write_csv

            write_csv(rows, out)
