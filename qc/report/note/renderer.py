"""The note to the client: one page in plain language for the sender, as Markdown or as HTML."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Self

from qc.plugin_base import Evidence, Renderer, Report

if TYPE_CHECKING:
    from qc.report.note.template import Template

SUFFIXES_HTML = (".html", ".htm")


class Note(Renderer):
    """Writes the note from the shipped or a custom template; `html` instead of Markdown."""

    name = "note"
    suffixes = (".md", *SUFFIXES_HTML)

    def __init__(self, *, html: bool = False, template: Template | None = None) -> None:
        self.html, self.template = html, template

    @classmethod
    def for_path(cls, path: Path | None, template: Path | None = None) -> Self:
        """Build the renderer for a path: HTML by its suffix, Markdown otherwise and for stdout (None).

        `template` is a custom one. Raises UsageError, with file and line, if it has a fault.
        """
        html = path is not None and path.suffix.lower() in SUFFIXES_HTML
        if template is None:
            return cls(html=html)
        from qc.report.note.template import own  # imports the template engine, which only this format needs

        return cls(html=html, template=own(template, html=html))

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write the note as UTF-8; raises UsageError, with file and line, for a fault of a custom template."""
        from qc.report.note.letter import letter
        from qc.report.note.template import shipped

        template = self.template or shipped(html=self.html)
        out.write(template.written(letter(report, evidence.words)).encode("utf-8", "replace"))
