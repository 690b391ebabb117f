"""`sidegate docs`: the pages for people who write plugins and rulesets, as they are in the installed version."""

from __future__ import annotations

import argparse
import pydoc
import sys
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import NamedTuple

import qc
from qc.cli.streams import emit
from qc.model.errors import PluginError

SOURCES = Path(qc.__file__).resolve().parent.parent
"""The folder of the sources, where the tool runs from them."""
FOLDER = "pages"
"""Folder in the package `qc` that a wheel has the pages in, as NAME.md."""


class DocsPage(NamedTuple):
    """A page: its place in the sources, and what it is for."""

    place: str
    about: str


PAGES = {
    "plugins": DocsPage("plugins/README.md", "write a plugin: checks, measurements, rulesets and formats of your own"),
    "hooks": DocsPage("plugins/hooks.md", "every hook, and every class that a plugin is made from"),
    "rulesets": DocsPage("rulesets/README.md", "write a ruleset: limits, sources, inheritance, releases"),
    "units": DocsPage("plugins/units.md", "every unit that a limit, a measurement or a curve may have"),
    "cases": DocsPage("plugins/cases.md", "write a case for `sidegate test`: signals, faults, what is expected"),
}
"""The pages by name."""


def docs(words: argparse.Namespace) -> int:
    """Print a page, through a pager on a terminal; without a page list them."""
    if words.page is None:
        widest = max(map(len, PAGES))
        emit("".join(f"sidegate docs {name:<{widest}}  {page.about}\n" for name, page in PAGES.items()).encode())
        return 0
    page = text_of(words.page)
    if on_terminal():
        pydoc.pager(page)
    else:
        emit(page.encode())
    return 0


def text_of(name: str) -> str:
    """Return the text of a page; raises PluginError where the installation lacks it."""
    try:
        return _place(name).read_text(encoding="utf-8")
    except OSError as error:
        raise PluginError(
            f"docs: the page {name} is not in this installation ({error.strerror}); install sidegate again"
        ) from None


def _place(name: str) -> Traversable:
    """Return the file of a page: in the sources, from which an editable installation runs, else in the wheel."""
    source = SOURCES / PAGES[name].place
    return (
        source if (SOURCES / "pyproject.toml").is_file() and source.is_file() else files("qc") / FOLDER / f"{name}.md"
    )


def on_terminal() -> bool:
    """Whether a person reads the output and can turn its pages."""
    return sys.stdin.isatty() and sys.stdout.isatty()
