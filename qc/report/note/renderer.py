"""The note to the client: one page in plain language for who sent the music, as Markdown or as HTML."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Self

from qc.plugin_api import Evidence, Renderer, Report

if TYPE_CHECKING:
    from qc.report.note.template import Template

SUFFIXES_HTML = (".html", ".htm")


class Note(Renderer):
    """Writes the note from the shipped template, or from a house's own; `html` instead of Markdown."""

    name = "note"
    suffixes = (".md", *SUFFIXES_HTML)

    def __init__(self, *, html: bool = False, template: Template | None = None) -> None:
        self.html, self.template = html, template

    @classmethod
    def for_path(cls, path: Path | None, template: Path | None = None) -> Self:
        """Build it for a place: HTML where it is called so, Markdown elsewhere and on stdout.

        `template` is a house's own. Raises UsageError, with file and line, where it cannot be used.
        """
        html = path is not None and path.suffix.lower() in SUFFIXES_HTML
        if template is None:
            return cls(html=html)
        from qc.report.note.template import own  # a template engine is nobody else's business

        return cls(html=html, template=own(template, html=html))

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write UTF-8; raises UsageError, with file and line, for a fault of the house's template."""
        from qc.report.note.letter import letter
        from qc.report.note.template import shipped

        template = self.template or shipped(html=self.html)
        out.write(template.written(letter(report, evidence.words)).encode("utf-8", "replace"))
