"""Plain Markdown that reads well on a page and in a terminal: escaped text, wrapped paragraphs, even tables.

A parameter `words` takes any text; one called `marked` takes Markdown that was made here.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence

from qc.text.table import even_markdown

WIDTH = 100

_ALWAYS = re.compile(r"[\\`*\[\]|~$]")
_LONE_UNDERSCORE = re.compile(r"(?<![^\W_])_|_(?![^\W_])")  # inside a word it marks nothing
_HTML = re.compile(r"<(?=[A-Za-z/!?])|&(?=#?\w+;)")
_STARTS_SOMETHING = re.compile(r"(?:[-+]|#{1,6}|\d{1,9}(?=[.)]))(?=[.)]?(?:\s|$))|>|[-=][-= ]*$")
_NOT_IN_ANCHORS = re.compile(r"[^\w\- ]")


def text(words: str) -> str:
    """Write words so that no character of them marks anything up; unprintable ones are shown as escapes."""
    line = re.sub(r"\s+", " ", words)
    line = "".join(c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode() for c in line)
    line = _ALWAYS.sub(r"\\\g<0>", line)
    return _HTML.sub(r"\\\g<0>", _LONE_UNDERSCORE.sub(r"\\_", line))


def prose(words: str) -> str:
    """Write the words of a docstring: `names` between backticks in fixed type, the others as text."""
    parts = re.split(r"`([^`]+)`", " ".join(words.split()))
    return "".join(code(part) if index % 2 else text(part) for index, part in enumerate(parts))


def code(words: str) -> str:
    """Write a name, a value or a command in fixed type."""
    line = " ".join(words.split())
    fence = "`" * (1 + max((len(run) for run in re.findall("`+", line)), default=0))
    room = " " if "`" in line else ""
    return f"{fence}{room}{line}{room}{fence}"


def link(marked: str, to: str) -> str:
    """Link to a page of the same folder, or a heading of it."""
    return f"[{marked}]({to})"


def heading(words: str) -> str:
    """Write the words of a heading, without the # before them."""
    return re.sub(r"(?<!\S)#+$", r"\\\g<0>", text(words).strip())  # such a run would close the heading, unseen


def paragraph(marked: str) -> str:
    """Wrap the lines of a paragraph."""
    return _wrapped(marked, "", "")


def bullet(marked: str) -> str:
    """Write an item of a list, in a line or several."""
    return _wrapped(marked, "- ", "  ")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Write a table with its columns in line; cells are Markdown."""
    return even_markdown(head, rows)


def anchors(headings: Iterable[str]) -> Mapping[str, str]:
    """Return the anchor of each heading of a page, all of them in order, as code-hosting pages make them."""
    made: dict[str, str] = {}
    seen: dict[str, int] = {}
    for words in headings:
        plain = _NOT_IN_ANCHORS.sub("", " ".join(words.split()).lower()).replace(" ", "-")
        count = seen.get(plain, -1) + 1
        seen[plain] = count
        made[words] = f"{plain}-{count}" if count else plain
    return made


def _wrapped(marked: str, first: str, later: str) -> str:
    lines = textwrap.wrap(" ".join(marked.split()), WIDTH - len(later), break_long_words=False, break_on_hyphens=False)
    return "".join(f"{later if index else first}{_as_words(line)}\n" for index, line in enumerate(lines))


def _as_words(line: str) -> str:
    """Keep a line from beginning a list, a heading or a quotation because of a wrapped word."""
    match = _STARTS_SOMETHING.match(line)
    if match is None:
        return line
    at = match.end() if match[0].isdigit() else 0
    return f"{line[:at]}\\{line[at:]}"
