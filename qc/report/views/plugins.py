"""Plugins that failed, and those that did not load and are not needed, in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.model.report import PluginFailure
    from qc.text.page import Page


def unneeded_words(warning: PluginFailure) -> str:
    """Return a clause about a plugin that did not load and that nothing needs."""
    return f"plugin {warning.plugin} did not load, and nothing here needs it: {warning.message}"


def write_plugins(page: Page, failures: Iterable[PluginFailure], warnings: Iterable[PluginFailure]) -> None:
    """Write a line for each plugin that failed, with its side, and for each that did not load and is not needed."""
    for failure in failures:
        side = f" on side {failure.side}" if failure.side else ""
        page.say(f"plugin {failure.plugin} failed at {failure.stage}{side}: {failure.message}", label="  ", indent=4)
    for warning in warnings:
        page.say(unneeded_words(warning), label="  ", indent=4, body="yellow")
