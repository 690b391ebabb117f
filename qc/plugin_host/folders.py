"""Where the rulesets of the installed plugins lie, told without asking any plugin for its checks."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from pathlib import Path

from qc.model.errors import FAULTS
from qc.plugin_host.finder import InstalledPlugin, find
from qc.plugin_host.names import PROJECT
from qc.plugin_host.relay import Relay
from qc.plugin_host.time_out import PATIENCE_S, Patient


def ruleset_folders(found: Iterable[InstalledPlugin] | None = None) -> tuple[Path, ...]:
    """Give the folders of rulesets in the order in which a run has them; a plugin that breaks is left out."""
    installed = sorted(find() if found is None else found, key=lambda one: one.package != PROJECT)
    brought: dict[str, tuple[Path, ...]] = {}
    with Patient(PATIENCE_S) as ask:
        for one in installed:
            if one.name not in brought:
                try:
                    brought[one.name] = _folders(one) if one.package == PROJECT else ask(partial(_folders, one))
                except FAULTS:  # `sidegate plugins` and every run say why
                    brought[one.name] = ()
    return tuple(dict.fromkeys(folder for name in sorted(brought) for folder in brought[name]))


def _folders(one: InstalledPlugin) -> tuple[Path, ...]:
    return Relay(one.entry.load()).rulesets()
