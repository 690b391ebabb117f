"""The plugins of a run: loaded, given their time limit, compared with what the run asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from qc.delivery.reader import ReadDelivery, parse_delivery, read_delivery
from qc.judge.left_out import LeftOutPlugins
from qc.judge.prepare import Options, units
from qc.model.check_docs import CheckWords
from qc.model.errors import UsageError
from qc.plugin_base import Check
from qc.plugin_host.finder import find
from qc.plugin_host.host import Host
from qc.plugin_host.names import PROJECT
from qc.plugin_host.runner import Runner
from qc.report.registry import formats
from qc.ruleset.choose import needed_without
from qc.ruleset.load import Ruleset
from qc.text.sanitize import shown
from qc.text.suggest import meant

FORMATS = tuple(formats())
"""Names of the report formats of the core."""


def build_host(time_limit_s: float | None = None, without: Sequence[str] = ()) -> Host:
    """Load the installed plugins, none of which may replace a measurement or format of the core.

    A call of their code times out after `time_limit_s`, 120 s by default. No code of those in `without` is run; raises
    UsageError for a name that no plugin has, and for the plugins of the tool itself.
    """
    runner = None if time_limit_s is None else Runner(time_limit_s)
    installed = {plugin.name: plugin.package for plugin in find()}
    for name in without:
        if name not in installed:
            others = [other for other, package in installed.items() if package != PROJECT]
            what = f'no plugin is called "{shown(name)}", which --without or SIDEGATE_WITHOUT switches off'
            raise UsageError(f"{what}; {meant(name, others)}")
        if installed[name] == PROJECT:
            raise needed_without(name, "it is part of sidegate itself")
    return Host.build(core=units(()), formats=FORMATS, runner=runner, without=without)


def host_of(host: Host | None, options: Options) -> Host:
    """Return the plugins of a run, the given or the installed ones, with the time limit of the options."""
    return build_host(options.patience) if host is None else host.with_time_limit(options.patience)


def left_out_plugins(ruleset: Ruleset, host: Host, options: Options) -> LeftOutPlugins:
    """Compare the plugins that are not there with what a run asks for; raises UsageError for one switched off."""
    missing = [name for name in options.formats if name not in {*FORMATS, *host.renderers}]
    found = LeftOutPlugins(host, ruleset, units(host.needs), missing)
    found.refuse_switched_off()
    return found


def words(checks: Mapping[str, type[Check[Any]]]) -> Mapping[str, CheckWords]:
    """Return the texts of every check, by id."""
    return {check_id: CheckWords.of(check) for check_id, check in checks.items()}


def read_any(path: Path, host: Host) -> ReadDelivery:
    """Read a delivery by a plugin that recognises the path, else as YAML."""
    text = host.read_delivery(path)
    if text is not None:
        return parse_delivery(text.encode(), path, path if path.is_dir() else path.parent)
    return read_delivery(path)
