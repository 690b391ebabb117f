"""The plugins of a command: the installed ones without those that are switched off."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from qc.cli.streams import say

if TYPE_CHECKING:
    from qc.model.report import PluginFailure
    from qc.plugin_host.host import Host

VARIABLE = "SIDEGATE_WITHOUT"
"""Names of plugins that are switched off for every command, separated by commas."""


def host_of(words: argparse.Namespace) -> Host:
    """Load the plugins of a command with its time limit; raises UsageError for one that cannot be switched off."""
    from qc import api  # lists of rulesets read the options only

    without = switched_off(getattr(words, "without", ()))
    return api.build_host(getattr(words, "patience", None), without)


def switched_off(words: Sequence[str]) -> tuple[str, ...]:
    """Return the names of the plugins that the options and the environment switch off, each once."""
    named = [*words, *os.environ.get(VARIABLE, "").split(",")]
    return tuple(dict.fromkeys(name.strip() for name in named if name.strip()))


def say_failures(failures: Iterable[PluginFailure], warnings: Iterable[PluginFailure] = ()) -> None:
    """Write a sentence for each plugin that failed, and for each that did not load and was not needed."""
    from qc.report.views.plugins import unneeded_words  # lists of rulesets need none of the report

    for failure in failures:
        say(f"plugin {failure.plugin} failed at {failure.stage}: {failure.message}")
    for warning in warnings:
        say(unneeded_words(warning))
