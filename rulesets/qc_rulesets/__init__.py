"""The rulesets that come with the tool: <name>/<version>.yaml, each released once and never edited again."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

from qc.plugin_host.spec import hookimpl

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable


@hookimpl
def qc_rulesets() -> Traversable:
    """Give the folder that holds them, with the sources they cite."""
    return files("qc_rulesets")
