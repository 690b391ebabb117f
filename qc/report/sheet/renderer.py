"""The cutting sheet: one page a side for the desk at the lathe, as Markdown, or as HTML where the suffix says so."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import BinaryIO, Self

from qc.plugin_base import Evidence, Renderer, Report
from qc.report.sheet.passages import SheetPage, pages
from qc.text.markdown import plain
from qc.text.table import markdown_rows

SUFFIXES_HTML = (".html", ".htm")


class Sheet(Renderer):
    """Writes the cutting sheet; `html` instead of Markdown."""

    name = "sheet"
    suffixes = (".md", *SUFFIXES_HTML)

    def __init__(self, *, html: bool = False) -> None:
        self.html = html

    @classmethod
    def for_path(cls, path: Path | None) -> Self:
        """Build the renderer for a path: HTML by its suffix, Markdown otherwise and for stdout (None)."""
        return cls(html=path is not None and path.suffix.lower() in SUFFIXES_HTML)

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Write the sheet as UTF-8."""
        text = _document(report) if self.html else "\n---\n\n".join(_markdown(page) for page in pages(report))
        out.write(text.encode("utf-8", "replace"))


# -- Markdown ------------------------------------------------------------------------------------------------


def _markdown(page: SheetPage) -> str:
    facts = markdown_rows(("", ""), [[plain(cell) for cell in row] for row in page.facts])
    lines = [f"# {plain(page.title)}", "", *facts, ""]
    for table in page.tables:
        lines += table.markdown()
    lines += [f"- {plain(caution)}" for caution in page.cautions]
    return "\n".join(lines) + "\n"


# -- HTML ----------------------------------------------------------------------------------------------------

STYLE = """\
@page { size: A4; margin: 11mm 14mm }
* { box-sizing: border-box }
body { margin: 0; font: 9pt/1.25 Georgia, "DejaVu Serif", serif; color: #111; background: #fff }
article { max-width: 182mm; margin: 0 auto; padding: 6mm 0; break-after: page }
article:last-of-type { break-after: auto }
h1 { font-size: 15pt; font-weight: normal; margin: 0 0 3mm; padding-bottom: 2mm; border-bottom: 1.5pt solid #111 }
h1, td { overflow-wrap: anywhere }
table { width: 100%; border-collapse: collapse; margin: 0 0 3mm; font-variant-numeric: tabular-nums }
caption { text-align: left; font-style: italic; padding: 1mm 0 }
th, td { text-align: left; vertical-align: top; padding: .4mm 2mm .4mm 0; border-bottom: .3pt solid #999 }
thead th { font-weight: normal; color: #555; border-bottom-color: #111 }
tbody th { width: 34mm; font-weight: normal; color: #555 }
td.figure, th.figure { text-align: right; white-space: nowrap }
p { margin: -2mm 0 3mm; color: #555 }
ul { margin: 0; padding: 0; list-style: none; font-size: 8pt; color: #555 }
@media print { article { padding: 0; max-width: none } }
"""


def _document(report: Report) -> str:
    head = (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(_name(report))}</title>\n'
    )
    body = "".join(_article(page) for page in pages(report))
    return f"{head}<style>\n{STYLE}</style>\n</head>\n<body>\n{body}</body>\n</html>\n"


def _name(report: Report) -> str:
    return pages(report)[0].title if report.sides else "Cutting sheet"


def _article(page: SheetPage) -> str:
    facts = "".join(f'<tr><th scope="row">{escape(a)}</th><td>{escape(b)}</td></tr>\n' for a, b in page.facts)
    parts = [f"<h1>{escape(page.title)}</h1>\n<table>\n<tbody>\n{facts}</tbody>\n</table>\n"]
    parts += [table.html() for table in page.tables]
    cautions = "".join(f"<li>{escape(caution)}</li>\n" for caution in page.cautions)
    return f"<article>\n{''.join(parts)}<ul>\n{cautions}</ul>\n</article>\n"
