"""Plugins that did not load or are switched off: what a run lacks without them, and whether it needs them."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from qc.model.errors import PluginError
from qc.model.names import limit_key
from qc.model.report import PluginFailure
from qc.plugin_host.host import Host, Plugin
from qc.ruleset.choose import needed_without
from qc.ruleset.load import Ruleset
from qc.text.suggest import nearest

TYPING_MISTAKE = 0.85
"""Similarity of two check ids of one area beyond which the unknown one is taken for the other, mistyped (practice)."""


class Failures(NamedTuple):
    """The failures before a run: those of plugins that it needs, and those of plugins that it does not need."""

    needed: tuple[PluginFailure, ...]
    unneeded: tuple[PluginFailure, ...]


NO_FAILURES = Failures((), ())


class LeftOutPlugins:
    """The plugins of a host that are not there, and what a ruleset and the formats of a run ask for.

    A plugin is needed that the ruleset requires, that has a check or a measurement named by the ruleset or a format
    that is to be written, or that reads deliveries or takes the finished report. Where the owner of a name cannot be
    found, every plugin that may own it is needed.
    """

    def __init__(
        self, host: Host, ruleset: Ruleset, units: Mapping[str, str], formats: Collection[str] = ()
    ) -> None:  # fmt: skip
        self._host, self._ruleset, self._units = host, ruleset, units
        self._plugins = (*host.left_out, *host.without)
        self._formats = tuple(formats)
        """names of formats that nothing brings"""

    def _may_answer(self, hook: str) -> bool:
        return any(plugin.may_answer(hook) for plugin in self._plugins)

    @cached_property
    def checks(self) -> Mapping[str, str]:
        """Checks under limits or measures that cannot run without a missing plugin, by id with the reason."""
        return dict(self._checks())

    def _checks(self) -> Iterator[tuple[str, str]]:
        ruleset, checks = self._ruleset, self._host.checks
        for check_id in sorted({*ruleset.limits, *ruleset.measures} - set(ruleset.off)):
            if check_id in ruleset.measures:
                measures = [ruleset.measures[check_id].measure]
            elif check_id in checks:
                limits = ruleset.limits[check_id]
                judges = checks[check_id].judges.items()
                measures = [judged.measure for key, judged in judges if limit_key(key) in limits]
            else:
                if self._is_missing(check_id):
                    near = nearest(check_id, checks)
                    hint = f'; if "{near}" is meant, correct the ruleset' if near else ""
                    yield check_id, f"the check is not there; a plugin did not load{hint}"
                continue
            unknown = [measure for measure in measures if measure not in self._units]
            if unknown and self._may_answer("qc_measures"):
                yield check_id, f"nothing measures {unknown[0]}; a plugin did not load"

    @cached_property
    def off(self) -> tuple[str, ...]:
        """Checks that the ruleset turns off and that are not there."""
        return tuple(sorted(check_id for check_id in self._ruleset.off if self._is_missing(check_id)))

    def _is_missing(self, check_id: str) -> bool:
        """Whether a check may belong to a plugin that is not there; false for one of this host, or a misspelt one."""
        if check_id in self._host.checks or check_id in self._ruleset.measures or not self._may_answer("qc_checks"):
            return False
        if any(self._has_the_ruleset(plugin) for plugin in self._plugins):
            return True
        area = check_id.partition(".")[0]
        alike = [name for name in self._host.checks if name.partition(".")[0] == area]
        return not difflib.get_close_matches(check_id[:200], alike, n=1, cutoff=TYPING_MISTAKE)

    def _has_the_ruleset(self, plugin: Plugin) -> bool:
        path = self._ruleset.path
        return any(path.is_relative_to(folder) for folder in plugin.folders or ())

    def needed(self, plugin: Plugin) -> str:
        """Return why a plugin that is not there is needed, in a clause; empty where it is not."""
        return next(self._reasons(plugin), "")

    def _reasons(self, plugin: Plugin) -> Iterator[str]:
        from packaging.utils import canonicalize_name  # only here: it looks the whole machine over

        ruleset = self._ruleset
        packages = {canonicalize_name(name) for name in ruleset.requires}
        if plugin.package and canonicalize_name(plugin.package) in packages:
            yield f"{ruleset.full_name} requires {plugin.package}"
        if self._has_the_ruleset(plugin):
            yield f"it has the ruleset {ruleset.full_name}"
        if plugin.hooks is None:
            yield "its source does not show which hooks it has"
        if plugin.may_answer("qc_report_done"):
            yield "it takes the finished report"
        if plugin.may_answer("qc_read_delivery"):
            yield "it reads deliveries"
        missing = [*self.checks, *self.off]
        if missing and (plugin.may_answer("qc_checks") or plugin.may_answer("qc_measures")):
            yield f"{ruleset.full_name} names {missing[0]}, which may be of this plugin"
        if self._formats and plugin.may_answer("qc_renderers"):
            yield f'the format "{self._formats[0]}" may be of this plugin'

    def refuse_switched_off(self) -> None:
        """Raise UsageError for a plugin that is switched off and needed."""
        for plugin in self._host.without:
            if why := self.needed(plugin):
                raise needed_without(plugin.name, why)

    def refuse_missing(self) -> None:
        """Raise PluginError for a check that is not there, for commands whose result could not say so."""
        for check_id, why in self.checks.items():
            raise PluginError(f'the check "{check_id}": {why}; "sidegate plugins" lists what did not load and why')

    def failures(self, first: Sequence[PluginFailure] = ()) -> Failures:
        """Sort the failures so far: whatever failed while it ran counts; `first` are about the ruleset asked for.

        The plugins of `first`, and of the ruleset that judges, come before the others.
        """
        leading = {failure.plugin for failure in first}
        leading |= {plugin.name for plugin in self._host.left_out if self._has_the_ruleset(plugin)}
        unneeded = {
            (plugin.name, plugin.error)
            for plugin in self._host.left_out
            if plugin.name not in leading and not self.needed(plugin)
        }
        counting = [failure for failure in self._host.failures if (failure.plugin, failure.message) not in unneeded]
        counting.sort(key=lambda failure: failure.plugin not in leading)
        ahead = [failure for failure in counting if failure.plugin in leading]
        others = tuple(failure for failure in self._host.failures if (failure.plugin, failure.message) in unneeded)
        return Failures((*ahead, *first, *counting[len(ahead) :]), others)
