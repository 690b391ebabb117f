"""A page of text of a given width: paragraphs with a hanging indent, and tables of columns without a frame.

The only module that imports `rich`, which measures the width of characters and writes colours.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Sequence

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

GAP = "  "


class Page:
    """Collects lines no wider than `width` cells; text is written as it is, without markup."""

    def __init__(self, width: int, *, colour: bool = False, ascii_only: bool = False) -> None:
        self.width = width
        self._ascii = ascii_only
        self._buffer = io.StringIO()
        self._console = Console(
            file=self._buffer, width=width, color_system="standard" if colour else None, force_terminal=colour,
            no_color=not colour, legacy_windows=False, markup=False, emoji=False, highlight=False, soft_wrap=True,
            _environ={},
        )  # fmt: skip
        self.lines = 0

    def like(self) -> Page:
        """Return an empty page of the same width, to count lines on."""
        return Page(self.width, ascii_only=self._ascii)

    @property
    def text(self) -> str:
        """The text written so far; lines end without blanks."""
        # line by line, since a pattern would take quadratic time on a long run of blanks
        return "\n".join(line.rstrip(" \t") for line in self._buffer.getvalue().split("\n"))

    def blank(self) -> None:
        """Write an empty line."""
        self._put(Text())

    def say(self, text: str, *, label: str = "", style: str = "", indent: int | None = None, body: str = "") -> None:
        """Write a paragraph after a short label; further lines are aligned with the first, or at `indent`."""
        hang = cell_len(label) if indent is None else indent
        for index, line in enumerate(self._broken(text, self.width - cell_len(label), self.width - hang)):
            start = Text().append(" " * hang if index else label, style="" if index else style)
            self._put(start.append(line, style=body))

    def raw(self, line: str, style: str = "") -> None:
        """Write a line as it is, if it fits; else as a paragraph."""
        if self.fits(line):
            self._put(Text(self.clean(line), style=style))
        else:
            self.say(line.strip(), label=GAP, body=style)

    def fits(self, text: str) -> bool:
        """Whether a text fits on one line."""
        return cell_len(self.clean(text)) <= self.width

    def table(
        self, head: Sequence[str], rows: Sequence[Sequence[str]], *, left: int = 1,
        least: int | None = None, head_style: str = "dim",
        styles: Sequence[str] = (),
    ) -> None:  # fmt: skip
        """Write columns: the first `left` ones flush left, the others flush right.

        Where they are too wide together, columns beyond the `least` first ones are left out; where that is not
        enough, the first column is set on a line of its own above the others. A row of one cell is a heading.
        """
        cells = [[self.clean(cell) for cell in row] for row in (head, *rows)]
        widths = [max(cell_len(row[i]) for row in cells if len(row) > 1) for i in range(len(head))]
        while _across(widths) > self.width and least is not None and len(widths) > least:
            widths.pop()
        stacked = _across(widths) > self.width
        for index, row in enumerate(cells):
            style = head_style if not index else styles[index - 1] if styles else ""
            if len(row) == 1 or (stacked and row[0].strip()):
                self.raw(row[0], style)
            if len(row) == 1:
                continue
            parts = [
                _padded(cell, width, right=column >= left)
                for column, (cell, width) in enumerate(zip(row, widths, strict=False))
            ]
            self.raw(GAP.join(["", *parts[1:]] if stacked else parts), style)

    def clean(self, text: str) -> str:
        """Replace control characters; if the page is ASCII only, write the nearest plain letters too."""
        seen = "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text)
        if not self._ascii or seen.isascii():
            return seen
        seen = seen.translate(_PLAIN)
        apart = "".join(char for char in unicodedata.normalize("NFKD", seen) if not unicodedata.combining(char))
        return apart.encode("ascii", "replace").decode("ascii")

    def _broken(self, text: str, first: int, rest: int) -> list[str]:
        """Break a paragraph into lines, the first of them `first` cells wide; a word too long for any is cut."""
        lines: list[str] = []
        line = ""
        words = self.clean(text).split()[::-1]
        while words:
            room, word = rest if lines else first, words.pop()
            if cell_len(joined := f"{line} {word}" if line else word) <= room:
                line = joined
            elif line:
                lines.append(line)
                line = ""
                words.append(word)
            else:
                lines.append(_most(word, room))
                words += [more] if (more := word[len(lines[-1]) :]) else []
        return [*lines, line] if line or not lines else lines

    def _put(self, line: Text) -> None:
        self._console.print(line, no_wrap=True, overflow="ignore", crop=False)
        self.lines += 1


_PLAIN = str.maketrans({"·": "-", "─": "-", "ß": "ss", "æ": "ae", "œ": "oe", "ø": "o", "Æ": "AE", "Ø": "O"})


def _across(widths: Sequence[int]) -> int:
    return sum(widths) + len(GAP) * (len(widths) - 1)


def _most(word: str, room: int) -> str:
    """Return as many characters of a word as fit into `room` cells, at least one."""
    taken, cells = 0, 0
    for char in word:
        cells += cell_len(char)
        if cells > room and taken:
            break
        taken += 1
    return word[:taken]


def _padded(cell: str, width: int, *, right: bool) -> str:
    blanks = " " * (width - cell_len(cell))
    return blanks + cell if right else cell + blanks
