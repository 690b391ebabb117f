"""The rulebook of the shipped rulesets, the hooks and the units, by their places in the sources of this project."""

from __future__ import annotations

from collections.abc import Mapping

from qc import api
from qc.plugin_host.finder import find
from qc.plugin_host.host import Host
from qc.plugin_host.names import PROJECT
from qc.rulebook.book import Book
from qc.rulebook.markdown import link
from qc.rulebook.pages import MARK, pages
from qc.rulebook.project.hooks import hooks_page
from qc.rulebook.project.units import units_page
from qc.schemas.build import NAMES

SHIPPED, HOOKS, UNITS = "rulesets/rulebook/", "plugins/hooks.md", "plugins/units.md"


def shipped_host() -> Host:
    """Load the plugins of the tool's own package alone, so that its pages are the same wherever they are made."""
    own = [plugin for plugin in find() if plugin.package == PROJECT]
    return Host.build(own, core=api.units(()), formats=api.FORMATS)


def shipped_pages(book: Book) -> Mapping[str, str]:
    """Return the tool's own pages by their path in its sources: the rulebook, the hooks and the units."""
    schemas = ", ".join(link(name, f"../../qc/schemas/{name}.json") for name in NAMES)
    further = [
        f"{link('Hooks', f'../../{HOOKS}')}: for plugins of your own",
        f"{link('Units', f'../../{UNITS}')}: of limits, measurements and curves",
        f"JSON Schemas: {schemas}",
    ]
    made = {f"{SHIPPED}{path}": page for path, page in pages(book, further).items()}
    return {**made, HOOKS: f"{MARK}\n{hooks_page()}", UNITS: f"{MARK}\n{units_page()}"}
