"""One plugin behind its hooks. Each has its own pluggy manager; `host.py` says why."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pluggy import HookCaller, PluginManager, PluginValidationError

from qc.plugin_host import names, spec, validation
from qc.plugin_host.validation import RefusedError, about
from qc.text.suggest import meant

if TYPE_CHECKING:
    from qc.plugin_base import Check, Need, Renderer, Report


R = TypeVar("R")


class Relay:
    """A plugin whose hooks fit their specifications; each method calls one of them and validates what it returns.

    Raises RefusedError, when built and when called; whatever the plugin itself raises comes through.
    """

    def __init__(self, plugin: object) -> None:
        self._manager = PluginManager(names.PROJECT)
        self._manager.add_hookspecs(spec)
        self._functions: dict[str, object] = {}
        self.hooks = tuple(sorted(set(self._validated(plugin))))
        """names of the hooks it answers"""
        try:
            self._manager.register(plugin)
            self._manager.check_pending()
        except PluginValidationError as why:
            raise RefusedError(f"a hook of it does not fit: {str(why).splitlines()[-1]}") from None

    def checks(self) -> tuple[type[Check[Any]], ...]:
        """Return its checks."""
        return self._several("qc_checks", validation.checks)

    def measures(self) -> tuple[type[Need[Any]], ...]:
        """Return its analyses and derived measurements."""
        return self._several("qc_measures", validation.measures)

    def rulesets(self) -> tuple[Path, ...]:
        """Return its folders of rulesets."""
        return self._several("qc_rulesets", validation.folders)

    def renderers(self) -> tuple[type[Renderer], ...]:
        """Return its report formats."""
        return self._several("qc_renderers", validation.renderers)

    def read_delivery(self, path: Path) -> str | None:
        """Return a delivery as YAML; None for a path that the plugin does not recognise."""
        text = self._manager.hook.qc_read_delivery(path=path)
        with about(self._functions.get("qc_read_delivery")):
            if text is not None and type(text) is not str:
                raise RefusedError(f"qc_read_delivery gave a value of type {type(text).__name__}, and not text or None")
        return text

    def report_done(self, report: Report) -> None:
        """Pass the finished report to the plugin."""
        self._manager.hook.qc_report_done(report=report)

    def _several(self, name: str, validated: Callable[[object], tuple[R, ...]]) -> tuple[R, ...]:
        """Call a hook that takes nothing, and return what it gave, validated."""
        hook: HookCaller = getattr(self._manager.hook, name)
        results: list[object] = hook()
        with about(self._functions.get(name)):
            # pluggy leaves None out, and a forgotten `return` must not look like an empty list.
            if len(results) < len(hook.get_hookimpls()):
                raise RefusedError(f"{name} gave nothing; return a list, an empty one if there is nothing to give")
            return tuple(found for result in results for found in validated(result))

    def _validated(self, plugin: object) -> Iterator[str]:
        """Yield the hooks; raises RefusedError for one that does not fit, or that would never be called."""
        for attribute in dir(plugin):
            options = self._manager.parse_hookimpl_opts(plugin, attribute)
            if options is None and not _looks_like_a_hook(plugin, attribute):
                continue
            hook = attribute if options is None else options.get("specname") or attribute
            function = self._functions[hook] = getattr(plugin, attribute)
            with about(function):
                if hook not in spec.HOOKS:
                    raise RefusedError(f'it defines "{hook}", which is no hook; {meant(hook, spec.HOOKS)}')
                if options is None:
                    raise RefusedError(
                        f'its "{hook}" is no function marked with @hookimpl, so it would never be called'
                    )
                if options.get("wrapper") or options.get("hookwrapper"):
                    raise RefusedError(f'its "{hook}" is a wrapper, and hooks here have nothing to wrap')
                _check_parameters(plugin, attribute, hook)
            yield hook


def _looks_like_a_hook(plugin: object, attribute: str) -> bool:
    """Whether an attribute may be meant as a hook; a module such as qc_standard is not."""
    value = inspect.getattr_static(plugin, attribute, None)
    function = callable(value) or isinstance(value, staticmethod | classmethod)
    return attribute in spec.HOOKS or (attribute.startswith("qc_") and function)


def _check_parameters(plugin: object, attribute: str, hook: str) -> None:
    parameters = tuple(inspect.signature(getattr(spec, hook)).parameters)
    for name in inspect.signature(getattr(plugin, attribute)).parameters:
        if name not in parameters:
            arguments = f'only "{parameters[0]}"' if parameters else "no argument"
            raise RefusedError(f'its "{hook}" takes "{name}", and the hook is called with {arguments}')
