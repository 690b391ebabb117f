"""A list for the desk: one line a finding, in the order of the programme, to be opened beside the audio."""

from __future__ import annotations

from typing import BinaryIO

from qc import Evidence, Finding, Renderer, Report
from qc.model.quantity import clock


class Timecodes(Renderer):
    """Writes side, time, severity, check and message with tabs between; findings without a time come first."""

    name = "timecodes"
    suffixes = (".tsv",)

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Write UTF-8, one line a finding."""
        found = [finding for result in report.results for finding in result.findings]
        found.sort(key=lambda one: (one.location.side, one.location.start_s or 0.0, one.check))
        out.write("".join(_line(one) for one in found).encode())


def _line(finding: Finding) -> str:
    where = finding.location
    when = "" if where.start_s is None else clock(where.start_s)
    return f"{where.side}\t{when}\t{finding.severity}\t{finding.check}\t{finding.message}\n"
