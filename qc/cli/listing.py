"""`sidegate plugins`: the plugins that were found, what each brings, and what did not load."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence

from qc.cli.plugin_host import host_of
from qc.cli.streams import emit
from qc.cli.terminal import colour, width
from qc.plugin_host.host import Host, Plugin
from qc.report.text.report import LEAST, MOST
from qc.ruleset.find import available, doubled
from qc.ruleset.library import doubled_rulesets
from qc.text.page import Page
from qc.text.table import text_columns

LABEL = 16
LOADED, LEFT_OUT, OFF = "loaded", "not loaded", "switched off"


def plugins(words: argparse.Namespace) -> int:
    """List the plugins, then what each brings, then why one did not load (exit code 3)."""
    host = host_of(words)
    rows = [("PLUGIN", "PACKAGE", "VERSION", "STATE", "HOOKS")]
    rows += [_row(plugin, LOADED if plugin.error is None else LEFT_OUT) for plugin in host.plugins]
    rows += [_row(plugin, OFF) for plugin in host.without]
    page = Page(min(max(width(), LEAST), MOST), colour=colour())
    for plugin in host.plugins:
        if plugin.error is None:
            page.blank()
            _brought(page, plugin, brought(plugin, host))
    emit(text_columns(rows).encode() + page.text.encode("utf-8", "replace"))
    failures = [*host.failures, *doubled_rulesets(host)]
    lines = [f"{failure.plugin}: {failure.stage}: {failure.message}\n" for failure in failures]
    emit("".join(["\n" if lines else "", *lines]).encode())
    return 3 if failures else 0


def brought(plugin: Plugin, host: Host) -> Mapping[str, Sequence[str]]:
    """Return the names of what a plugin brings, sorted, by kind."""
    needs = [need for need, owner in host.need_owner.items() if owner == plugin.name]
    later = {there.path for there, _ in doubled(host.ruleset_folders)}
    rulesets = [there for there in available(plugin.folders or ()) if there.path not in later]
    return {
        "checks": [name for name, owner in host.owner.items() if owner == plugin.name],
        "measurements": sorted(name for need in needs for name in need.publishes),
        "rulesets": [f"{there.name}@{there.version}" for there in rulesets],
        "formats": [name for name, owner in host.renderer_owner.items() if owner == plugin.name],
    }


def _row(plugin: Plugin, state: str) -> tuple[str, str, str, str, str]:
    hooks = "?" if plugin.hooks is None else ", ".join(plugin.hooks) or "-"
    return plugin.name, plugin.package, plugin.version, state, hooks


def _brought(page: Page, plugin: Plugin, kinds: Mapping[str, Sequence[str]]) -> None:
    page.say(f"{plugin.name} {plugin.version}".rstrip(), body="bold")
    for kind, names in kinds.items():
        words = f"{len(names)}: {', '.join(names)}" if names else "none"
        page.say(words, label=f"  {kind}".ljust(LABEL), indent=LABEL)
