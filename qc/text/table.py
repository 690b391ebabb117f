"""Tables: one model, written as columns of plain text, as Markdown, or as HTML.

A page of text of a given width, with colours, has its own writer in `qc.text.page`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from qc.text.markdown import plain

GAP = "  "


@dataclass(frozen=True)
class Table:
    """A table of texts; `figures` are the columns of numbers, set flush right in HTML."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: frozenset[int] = frozenset()
    note: str = ""

    def markdown(self) -> list[str]:
        """Return the lines of the table with its title above and its note below, every cell escaped."""
        rows = [[plain(cell) for cell in row] for row in self.rows]
        lines = [f"**{self.title}**", "", *markdown_rows(self.head, rows), ""]
        return [*lines, plain(self.note), ""] if self.note else lines

    def html(self) -> str:
        """Return the table with its caption, and its note in a paragraph, every cell escaped."""
        head = "".join(self._cell("th", column, cell) for column, cell in enumerate(self.head))
        rows = (
            "<tr>" + "".join(self._cell("td", column, cell) for column, cell in enumerate(row)) + "</tr>\n"
            for row in self.rows
        )
        note = f"<p>{escape(self.note)}</p>\n" if self.note else ""
        return (
            f"<table>\n<caption>{escape(self.title)}</caption>\n<thead>\n<tr>{head}</tr>\n</thead>\n"
            f"<tbody>\n{''.join(rows)}</tbody>\n</table>\n{note}"
        )

    def _cell(self, tag: str, column: int, text: str) -> str:
        return f"<{tag}{' class=figure' if column in self.figures else ''}>{escape(text)}</{tag}>"


def text_columns(rows: Sequence[Sequence[str]]) -> str:
    """Write rows of texts in columns, each as wide as its widest cell; no line ends with blanks."""
    widths = _widths(rows)
    lines = (GAP.join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    return "".join(line.rstrip() + "\n" for line in lines)


def markdown_rows(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Return the lines of a table whose cells are Markdown already."""
    return [_markdown_row(head), "|" + "---|" * len(head), *(_markdown_row(row) for row in rows)]


def even_markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Write a table whose cells are Markdown already, with aligned columns, so that the source reads well too."""
    cells = [[_closed(cell) for cell in row] for row in (head, *rows)]
    widths = [max(3, width) for width in _widths(cells)]
    lines = [_markdown_row([cell.ljust(width) for cell, width in zip(row, widths, strict=True)]) for row in cells]
    lines.insert(1, _markdown_row(["-" * width for width in widths]))
    return "".join(f"{line}\n" for line in lines)


def _widths(rows: Sequence[Sequence[str]]) -> list[int]:
    return [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]


def _markdown_row(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _closed(marked: str) -> str:
    """Escape a bar inside fixed type, which would end the cell; in text it is escaped already."""
    return re.sub(r"(?<!\\)\|", r"\\|", marked)
