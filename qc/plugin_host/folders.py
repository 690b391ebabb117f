"""The ruleset folders of the installed plugins, found without asking any plugin for its checks."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from qc.model.errors import FAULTS
from qc.plugin_host.finder import InstalledPlugin, find
from qc.plugin_host.names import PROJECT
from qc.plugin_host.relay import Relay
from qc.plugin_host.runner import Runner


def ruleset_folders(found: Iterable[InstalledPlugin] | None = None) -> tuple[Path, ...]:
    """Return the folders of rulesets in the order in which a run has them; a plugin that breaks is left out."""
    installed = sorted(find() if found is None else found, key=lambda plugin: plugin.package != PROJECT)
    folders: dict[str, tuple[Path, ...]] = {}
    runner = Runner()
    for plugin in installed:
        if plugin.name not in folders:
            try:
                folders[plugin.name] = _folders(plugin) if plugin.package == PROJECT else runner(_folders, plugin)
            except FAULTS:  # `sidegate plugins` and every run say why
                folders[plugin.name] = ()
    return tuple(dict.fromkeys(folder for name in sorted(folders) for folder in folders[name]))


def _folders(plugin: InstalledPlugin) -> tuple[Path, ...]:
    return Relay(plugin.entry.load()).rulesets()
