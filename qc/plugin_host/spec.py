"""The whole plugin surface. A plugin is a module named by an entry point of the group "sidegate.plugins"."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pluggy import HookimplMarker, HookspecMarker

from qc.plugin_host.names import PROJECT

if TYPE_CHECKING:
    from collections.abc import Sequence
    from importlib.resources.abc import Traversable
    from pathlib import Path

    from qc.model.report import Report
    from qc.plugin_base import Check, Need, Renderer

hookspec = HookspecMarker(PROJECT)
hookimpl = HookimplMarker(PROJECT)


@hookspec
def qc_checks() -> Sequence[type[Check[Any]]]:  # type: ignore[empty-body]
    """Return the classes of the checks that the plugin brings.

    Called once, when the plugin is loaded. A check runs only where a ruleset names it under `limits`.

    Returns
    -------
    list of classes made from Check
        Each with an id ("area.plain-words", that no other check has), title, why, how, remedy, and Limits; an empty
        list if there are none.

    What it raises, a list that cannot be used, or a time-out leaves out the whole plugin, and the others are judged;
    where the run needs the plugin, it ends with exit code 3.
    """


@hookspec
def qc_measures() -> Sequence[type[Need[Any]]]:  # type: ignore[empty-body]
    """Return the classes of the analyses and derived measurements that the plugin brings.

    Called once, when the plugin is loaded. Everything given is measured of every side, whether a check asks for it
    or not, and what it publishes is in the report.

    Returns
    -------
    list of classes made from Analysis or Derived
        Each with an id and `publishes`, measurement names that no other plugin has, each with its unit; an empty list
        if there are none. A need that a check names and that publishes nothing may be left out.

    What it raises, a list that cannot be used, or a time-out leaves out the whole plugin, and the others are judged;
    where the run needs the plugin, it ends with exit code 3.
    """


@hookspec
def qc_rulesets() -> Path | Traversable | Sequence[Path | Traversable]:  # type: ignore[empty-body]
    """Return the folder or folders that hold rulesets as <name>/<version>.yaml, and their sources.yaml.

    Called once, when the plugin is loaded, and by commands that only list rulesets.

    Returns
    -------
    path of a folder, or a list of such
        Folders that are there, on disk; `importlib.resources.files("my_rules") / "rulesets"` is one. Sources that
        begin with "house:" need no sources.yaml.

    Of two files with one name and version the first counts, and the plugin of the later one is named.

    What it raises, a folder that is not there, or a time-out leaves out the whole plugin, and the others are judged;
    where the run needs the plugin, it ends with exit code 3.
    """


@hookspec(firstresult=True)
def qc_read_delivery(path: Path) -> str | None:
    """Return the text, in YAML, of a delivery that is sent in another form; None for a path that it does not recognise.

    Called before any audio is read, plugin by plugin in the order of their names, until one returns a text.

    Parameters
    ----------
    path
        What the command was given: a file or a folder, which may not be there.

    Returns
    -------
    text or None
        A delivery as a delivery.yaml has it. Audio lies in the folder of `path`, or in `path` where that is a folder.

    What it raises, anything but text, or a time-out is noted, and the next plugin is
    asked; the delivery is judged as far as it can be read, and the run ends with exit code 3.
    """


@hookspec
def qc_renderers() -> Sequence[type[Renderer]]:  # type: ignore[empty-body]
    """Return the classes of the report formats that the plugin writes.

    Called once, when the plugin is loaded. A format is used only where `--out NAME=PATH` asks for it.

    Returns
    -------
    list of classes made from Renderer
        Each with a name that no other format has; an empty list if there is nothing to give.

    What it raises, a list that cannot be used, or a time-out leaves out the whole plugin, and the others are judged;
    where the run needs the plugin, it ends with exit code 3. A format that raises later, or never ends, writes nothing;
    the other reports are written and name it, and the run ends with exit code 3.
    """


@hookspec
def qc_report_done(report: Report) -> None:
    """Take the finished report, to file it or to pass it on; nothing that happens here changes the verdict.

    Called after everything is judged and before any format is written, plugin by plugin in the order of their names.

    Parameters
    ----------
    report
        The whole report but for `run`, the seconds and threads that it took. It cannot be changed.

    What it raises, or a time-out, is in the report that is written, and the run ends
    with exit code 3; the other plugins are called all the same.
    """


HOOKS: tuple[str, ...] = (
    "qc_checks",
    "qc_measures",
    "qc_rulesets",
    "qc_read_delivery",
    "qc_renderers",
    "qc_report_done",
)
