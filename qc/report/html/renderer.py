"""The format `html`: one file that opens from disk, on a second screen or printed."""

from __future__ import annotations

from typing import BinaryIO

from qc.plugin_base import Evidence, Renderer, Report


class Html(Renderer):
    """Writes the whole report with its pictures as one page; without evidence, words and tables only."""

    name = "html"
    suffixes = (".html", ".htm")
    draws = True

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write the page as UTF-8."""
        from qc.report.html.page import document  # slow to import, and needed by this format only

        out.write(document(report, evidence).encode("utf-8", "replace"))
