"""The installed plugins, found without importing any of them."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from functools import lru_cache
from importlib.metadata import EntryPoint, entry_points
from typing import NamedTuple

from qc.plugin_host.names import GROUP


class InstalledPlugin(NamedTuple):
    """A plugin as its package announces it."""

    name: str
    package: str
    version: str
    entry: EntryPoint

    @property
    def shown(self) -> str:
        """Name it in a sentence, with the package to look into."""
        return named(self.name, self.package, self.version)


def find(entries: Iterable[EntryPoint] | None = None) -> tuple[InstalledPlugin, ...]:
    """List the plugins of the group, by name and package; `entries` replace what is installed."""
    return _installed(tuple(sys.path)) if entries is None else _in_order(entries)


@lru_cache(maxsize=4)
def _installed(_: tuple[str, ...]) -> tuple[InstalledPlugin, ...]:
    """List the plugins on a search path of modules, once a process: every installed package has to be looked into."""
    return _in_order(entry_points(group=GROUP))


def _in_order(entries: Iterable[EntryPoint]) -> tuple[InstalledPlugin, ...]:
    found = {_found(entry) for entry in entries}
    return tuple(sorted(found, key=lambda plugin: (plugin.name, plugin.package, plugin.version, plugin.entry.value)))


def _found(entry: EntryPoint) -> InstalledPlugin:
    if entry.dist is None:
        return InstalledPlugin(entry.name, "", "", entry)
    metadata = entry.dist.metadata  # parsed anew each time it is asked for, or the name or the version
    return InstalledPlugin(entry.name, metadata["Name"], metadata["Version"], entry)


def named(name: str, package: str, version: str) -> str:
    """Name a plugin in a sentence: 'plugin "house" of acme-rules 1.2'."""
    return f'plugin "{name}"' + (f" of {package} {version}".rstrip() if package else "")
