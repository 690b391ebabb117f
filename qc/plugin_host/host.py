"""All plugins of a run: loaded one by one, each whole or not at all, with what they brought in order.

Built for each run, never at import. A plugin that does not load, or returns what cannot be used, becomes a
`PluginFailure` and is left out; the others go on.

pluggy declares the hooks (`spec.py`), registers and checks the plugins and calls the hooks (`relay.py`). It is used
otherwise than in most programs in three places, so that one bad plugin costs the others nothing:

* Each plugin has a `PluginManager` of its own. In a shared one the first implementation that raises ends the call for
  all that come after it, a time-out cannot be put on one plugin, and `tryfirst` or a wrapper lets one plugin change
  what another returns.
* `load_setuptools_entrypoints` is not called. It imports every plugin in one go, without a time-out, and raises what
  the first broken one raises. `finder.py` reads the same entry points with their package and version, and imports
  neither a plugin nor pluggy, so that `--help` and `--version` stay quick.
* Implementations are looked through before `register` and `check_pending`: pluggy passes over a function without a
  marker, and its messages name no hook that may have been meant.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from importlib.metadata import EntryPoint
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

from qc.model.errors import FAULTS, TimedOutError
from qc.model.report import PluginFailure
from qc.plugin_base import Check, Need, Renderer, Report
from qc.plugin_host.finder import InstalledPlugin, find, named
from qc.plugin_host.names import PROJECT
from qc.plugin_host.outline import outlined_hooks
from qc.plugin_host.relay import Relay
from qc.plugin_host.runner import Runner
from qc.plugin_host.validation import RefusedError, refuse_taken_names
from qc.text.exceptions import exception_line

CORE = "sidegate itself"


class Plugin(NamedTuple):
    """A plugin of this run; `error` says why it was left out."""

    name: str
    package: str
    version: str
    hooks: tuple[str, ...] | None = ()
    """names of the hooks it answers; None where it did not load and its source does not show them"""
    error: str | None = None
    folders: tuple[Path, ...] | None = ()
    """its folders of rulesets; None where it was left out before they could be read"""

    def may_answer(self, hook: str) -> bool:
        """Whether it answers a hook, as far as that can be said of a plugin that did not load."""
        return self.hooks is None or hook in self.hooks


class _Candidate(NamedTuple):
    """A plugin that is to be loaded."""

    name: str
    package: str
    version: str
    load: Callable[[], object]
    entry: EntryPoint | None = None
    """None for a plugin that was passed as an object"""

    @property
    def shown(self) -> str:
        return named(self.name, self.package, self.version)

    def plugin(
        self, hooks: tuple[str, ...] | None, folders: tuple[Path, ...] | None, failure: PluginFailure | None
    ) -> Plugin:  # fmt: skip
        """Describe it, with the failure for which it is left out."""
        error = None if failure is None else failure.message
        return Plugin(self.name, self.package, self.version, hooks, error, folders)

    def not_loaded(self, failure: PluginFailure | None = None) -> Plugin:
        """Describe it without running any code of it."""
        hooks = outlined_hooks(self.entry) if isinstance(self.entry, EntryPoint) else None
        return self.plugin(hooks, None if hooks is None or "qc_rulesets" in hooks else (), failure)


class _Contribution(NamedTuple):
    """The checks, measurements, folders and formats of one plugin, validated."""

    candidate: _Candidate
    relay: Relay
    checks: tuple[type[Check[Any]], ...]
    needs: tuple[type[Need[Any]], ...]
    folders: tuple[Path, ...]
    renderers: tuple[type[Renderer], ...]


@dataclass(frozen=True)
class Host:
    """The plugins of a run and what they brought."""

    plugins: tuple[Plugin, ...]
    checks: Mapping[str, type[Check[Any]]]
    """check id -> class, by id"""
    owner: Mapping[str, str]
    """check id -> name of its plugin"""
    needs: tuple[type[Need[Any]], ...]
    need_owner: Mapping[type[Need[Any]], str]
    ruleset_folders: tuple[Path, ...]
    """those of the tool itself first, then by the names of the plugins; the first file of a name and version counts"""
    renderers: Mapping[str, type[Renderer]]
    failures: list[PluginFailure] = field(default_factory=list)
    """failures so far"""
    shipped_folders: tuple[Path, ...] = ()
    """those of the folders that the tool itself brings"""
    runner: Runner = field(default_factory=Runner)
    """calls the code of the plugins"""
    renderer_owner: Mapping[str, str] = field(default_factory=dict)
    """name of a format -> name of its plugin"""
    without: tuple[Plugin, ...] = ()
    """plugins that were switched off, of which no code ran"""
    _relays: tuple[tuple[_Candidate, Relay], ...] = ()

    @classmethod
    def build(
        cls,
        found: Iterable[InstalledPlugin] | None = None,
        *,
        extra: Iterable[tuple[str, object]] = (),
        core: Iterable[str] = (),
        formats: Iterable[str] = (),
        runner: Runner | None = None,
        without: Collection[str] = (),
    ) -> Host:
        """Load the installed plugins (or those `found`), then `extra` ones, given as (name, module or object).

        Those named in `without` are not loaded.

        `core` are the measurement names, `formats` the report formats that the core itself has. The tool's
        own plugins come first, so that no other can take the place of what they bring. A plugin whose import
        or hook times out is left out.
        """
        installed = sorted(find() if found is None else found, key=lambda plugin: plugin.package != PROJECT)
        candidates = [
            _Candidate(plugin.name, plugin.package, plugin.version, plugin.entry.load, plugin.entry)
            for plugin in installed
        ]
        candidates += [_Candidate(name, "", "", partial(_itself, plugin)) for name, plugin in extra]
        builder = _HostBuilder(core, formats, runner or Runner())
        for candidate in candidates:
            if candidate.name in without:
                builder.switch_off(candidate)
            else:
                builder.add(candidate)
        return builder.host()

    @property
    def left_out(self) -> tuple[Plugin, ...]:
        """The plugins that did not load."""
        return tuple(plugin for plugin in self.plugins if plugin.error is not None)

    def with_time_limit(self, seconds: float | None) -> Host:
        """Return a host with the same plugins and another time limit of calls; None leaves the limit as it is."""
        return self if seconds is None else replace(self, runner=Runner(seconds))

    def read_delivery(self, path: Path) -> str | None:
        """Return the YAML of a delivery from the first plugin, by name, that recognises the path.

        A plugin that raises is noted in `failures`, and the next one is asked.
        """
        for candidate, relay in self._relays:
            text, failure = _call_plugin(self.runner, candidate, "qc_read_delivery", partial(relay.read_delivery, path))
            if failure is not None:
                self.failures.append(failure)
            elif text is not None:
                return str(text)
        return None

    def report_done(self, report: Report) -> list[PluginFailure]:
        """Hand the report to every plugin, by name, and return the failures."""
        failures = [
            _call_plugin(
                self.runner, candidate, "qc_report_done", partial(relay.report_done, report.model_copy(deep=True))
            )[1]
            for candidate, relay in self._relays
            if "qc_report_done" in relay.hooks
        ]
        return [failure for failure in failures if failure is not None]


class _HostBuilder:
    """A host being built, with the plugin of every name that is taken so far."""

    def __init__(self, core: Iterable[str], formats: Iterable[str], runner: Runner) -> None:
        self.runner = runner
        self.plugins: list[Plugin] = []
        self.without: list[Plugin] = []
        self.contributions: list[_Contribution] = []
        self.failures: list[PluginFailure] = []
        self.names: dict[str, str] = {}
        self.check_ids: dict[str, str] = {}
        self.need_ids: dict[str, str] = {}
        self.measures: dict[str, str] = dict.fromkeys(core, CORE)
        self.formats: dict[str, str] = dict.fromkeys(formats, CORE)

    def switch_off(self, candidate: _Candidate) -> None:
        """Leave out a plugin without loading it."""
        self.without.append(candidate.not_loaded())

    def add(self, candidate: _Candidate) -> None:
        """Load one plugin; after any failure nothing of it is kept but its folders of rulesets, apart from the others.

        A ruleset in them can still be named, and then judges as far as the other plugins reach.
        """
        relay, failure = self._relay(candidate)
        if relay is None:
            plugin = candidate.not_loaded(failure)
        else:
            results: dict[str, Any] = {}
            contribution, failure = self._contribution(candidate, relay, results)
            if contribution is not None:
                self.contributions.append(contribution)
                self._register_names(contribution)
            elif "qc_rulesets" not in results:  # it broke in an earlier hook
                results["qc_rulesets"], _ = _call_plugin(self.runner, candidate, "qc_rulesets", relay.rulesets)
            plugin = candidate.plugin(relay.hooks, results["qc_rulesets"], failure)
        if failure is not None:
            self.failures.append(failure)
        self.plugins.append(plugin)

    def _relay(self, candidate: _Candidate) -> tuple[Relay | None, PluginFailure | None]:
        """Import a plugin whose name is free, and look its hooks through."""
        _, failure = _call_plugin(
            self.runner, candidate, "find", lambda: refuse_taken_names([candidate.name], self.names, "the plugin name")
        )
        if failure is not None:
            return None, failure
        self.names[candidate.name] = candidate.shown
        plugin, failure = _call_plugin(self.runner, candidate, "load", candidate.load)
        if failure is not None:
            return None, failure
        return _call_plugin(self.runner, candidate, "hooks", lambda: Relay(plugin))

    def _contribution(
        self, candidate: _Candidate, relay: Relay, results: dict[str, Any]
    ) -> tuple[_Contribution | None, PluginFailure | None]:  # fmt: skip
        """Call the hooks that say what a plugin brings; `results` gets what each returned, None for a failure."""
        calls = {
            "qc_checks": relay.checks,
            "qc_measures": relay.measures,
            "qc_rulesets": relay.rulesets,
            "qc_renderers": relay.renderers,
        }
        for hook, call in calls.items():
            results[hook], failure = _call_plugin(self.runner, candidate, hook, call)
            if failure is not None:
                return None, failure
        contribution = _Contribution(candidate, relay, *results.values())
        _, failure = _call_plugin(self.runner, candidate, "names", lambda: self._refuse_taken_names(contribution))
        return (contribution if failure is None else None), failure

    def _names(self, contribution: _Contribution) -> Iterator[tuple[str, list[str], dict[str, str]]]:
        """Yield, for each kind of name, its description, the names of one plugin, and name -> owner of those taken."""
        yield "the check", [check.id for check in contribution.checks], self.check_ids
        yield "the measuring", [need.id for need in contribution.needs], self.need_ids
        yield "the measurement", [name for need in contribution.needs for name in need.publishes], self.measures
        yield "the report format", [renderer.name for renderer in contribution.renderers], self.formats

    def _refuse_taken_names(self, contribution: _Contribution) -> None:
        """Raise RefusedError for a name that another plugin has, or that this one uses twice."""
        for what, names, taken in self._names(contribution):
            refuse_taken_names(names, taken, what)

    def _register_names(self, contribution: _Contribution) -> None:
        for _, names, taken in self._names(contribution):
            taken.update(dict.fromkeys(names, contribution.candidate.shown))

    def host(self) -> Host:
        """Return the host, its parts in the order of the plugins' names; checks and formats by their own names."""
        ordered = sorted(self.contributions, key=lambda contribution: contribution.candidate.name)
        checks = {
            check.id: (check, contribution.candidate.name) for contribution in ordered for check in contribution.checks
        }
        formats = {
            renderer.name: (renderer, contribution.candidate.name)
            for contribution in ordered for renderer in contribution.renderers
        }  # fmt: skip
        shipped = tuple(
            folder
            for contribution in ordered
            if contribution.candidate.package == PROJECT
            for folder in contribution.folders
        )
        return Host(
            plugins=tuple(sorted(self.plugins, key=lambda plugin: (plugin.name, plugin.package, plugin.version))),
            checks=MappingProxyType({key: checks[key][0] for key in sorted(checks)}),
            owner=MappingProxyType({key: checks[key][1] for key in sorted(checks)}),
            needs=tuple(need for contribution in ordered for need in contribution.needs),
            need_owner=MappingProxyType(
                {need: contribution.candidate.name for contribution in ordered for need in contribution.needs}
            ),
            ruleset_folders=tuple(
                dict.fromkeys([*shipped, *(folder for contribution in ordered for folder in contribution.folders)])
            ),
            renderers=MappingProxyType({key: formats[key][0] for key in sorted(formats)}),
            renderer_owner=MappingProxyType({key: formats[key][1] for key in sorted(formats)}),
            without=tuple(self.without),
            failures=self.failures,
            shipped_folders=shipped,
            runner=self.runner,
            _relays=tuple((contribution.candidate, contribution.relay) for contribution in ordered),
        )


def _itself(plugin: object) -> object:
    return plugin


def _call_plugin(
    runner: Runner, candidate: _Candidate, stage: str, call: Callable[[], Any]
) -> tuple[Any, PluginFailure | None]:
    """Call plugin code; an error, an exit or a time-out becomes a failure that names the plugin.

    The tool's own plugins are called directly, so that a start without others needs no thread.
    """
    subject = "it" if stage in {"load", "hooks", "names"} else stage
    try:
        return call() if candidate.package == PROJECT else runner(call), None
    except RefusedError as why:
        reason = str(why)
    except TimedOutError as why:
        reason = f"{subject}{exception_line(why).removeprefix('it')}"
    except FAULTS as why:
        reason = f"{subject} raised {exception_line(why)}"
    return None, PluginFailure(plugin=candidate.name, stage=stage, message=f"{candidate.shown}: {reason}")
