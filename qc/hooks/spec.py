"""The whole plugin surface. A plugin is a module named by an entry point of the group "sidegate.plugins"."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pluggy import HookimplMarker, HookspecMarker

if TYPE_CHECKING:
    from collections.abc import Sequence
    from importlib.resources.abc import Traversable
    from pathlib import Path

    from qc.contract import Check, Need, Renderer
    from qc.report.model import Report

PROJECT = "sidegate"
GROUP = "sidegate.plugins"

hookspec = HookspecMarker(PROJECT)
hookimpl = HookimplMarker(PROJECT)


@hookspec
def qc_checks() -> Sequence[type[Check[Any]]]:  # type: ignore[empty-body]
    """Give the classes of the checks that the plugin brings."""


@hookspec
def qc_measures() -> Sequence[type[Need[Any]]]:  # type: ignore[empty-body]
    """Give the classes of what the plugin measures, with the names they publish."""


@hookspec
def qc_rulesets() -> Path | Traversable | Sequence[Path | Traversable]:  # type: ignore[empty-body]
    """Give the folder or folders that hold rulesets as <name>/<version>.yaml, and their sources.yaml."""


@hookspec(firstresult=True)
def qc_read_delivery(path: Path) -> str | None:
    """Give the text, in YAML, of a delivery that is sent in another form; None for a path not known."""


@hookspec
def qc_renderers() -> Sequence[type[Renderer]]:  # type: ignore[empty-body]
    """Give the classes of the report formats that the plugin writes."""


@hookspec
def qc_report_done(report: Report) -> None:
    """Take the finished report, to file it or to pass it on; the verdict stands whatever happens here."""


HOOKS: tuple[str, ...] = (
    "qc_checks",
    "qc_measures",
    "qc_rulesets",
    "qc_read_delivery",
    "qc_renderers",
    "qc_report_done",
)
