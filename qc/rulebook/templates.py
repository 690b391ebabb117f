"""The templates of the pages: Jinja2 over Markdown. They hold the words; what fills them holds none."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from qc.rulebook import markdown

FOLDER = Path(__file__).with_name("templates")

_FENCED = re.compile(r"(^```.*?^```$)", re.MULTILINE | re.DOTALL)


def filled(template: str, folder: Path = FOLDER, **values: Any) -> str:
    """Fill a template, "check.md", with values; empty lines in a row become one, but for those in blocks of code."""
    page = _environment(folder).get_template(template).render(values)
    parts = _FENCED.split(page)
    parts[::2] = [re.sub(r"\n{3,}", "\n\n", part) for part in parts[::2]]
    return f"{''.join(parts).strip()}\n"


@cache
def _environment(folder: Path) -> Environment:
    # Nothing is escaped as HTML: the filter `text` makes any words harmless in Markdown.
    environment = Environment(
        loader=FileSystemLoader(folder), undefined=StrictUndefined, autoescape=False,  # noqa: S701
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    environment.filters |= {
        "text": markdown.text, "prose": markdown.prose, "code": markdown.code, "heading": markdown.heading,
        "paragraph": markdown.paragraph, "bullet": markdown.bullet, "table": _table,
    }  # fmt: skip
    return environment


def _table(rows: Iterable[Sequence[str]], head: Sequence[str]) -> str:
    return markdown.table(head, rows)
