"""The ruleset folders of the installed plugins, found without asking any plugin for its checks."""

from __future__ import annotations

from collections.abc import Container, Iterable
from pathlib import Path

from qc.model.errors import FAULTS
from qc.plugin_host.finder import InstalledPlugin, find
from qc.plugin_host.names import PROJECT
from qc.plugin_host.relay import Relay
from qc.plugin_host.runner import Runner


def ruleset_folders(
    found: Iterable[InstalledPlugin] | None = None, without: Container[str] = ()
) -> tuple[Path, ...]:  # fmt: skip
    """Return the folders of rulesets in the order in which a run has them; a plugin that breaks is left out.

    Those named in `without` are not loaded.
    """
    installed = sorted(find() if found is None else found, key=lambda plugin: (plugin.package != PROJECT, plugin.name))
    folders: dict[str, tuple[Path, ...]] = {}
    runner = Runner()
    for plugin in installed:
        if plugin.name not in folders and plugin.name not in without:
            try:
                folders[plugin.name] = _folders(plugin) if plugin.package == PROJECT else runner(_folders, plugin)
            except FAULTS:  # `sidegate plugins` and every run say why
                folders[plugin.name] = ()
    return tuple(dict.fromkeys(folder for of_plugin in folders.values() for folder in of_plugin))


def _folders(plugin: InstalledPlugin) -> tuple[Path, ...]:
    return Relay(plugin.entry.load()).rulesets()
