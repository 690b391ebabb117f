"""Sidegate: works out the groove of a vinyl side from its master, before the first cut, and judges it.

Plugin authors import from here: `from qc import Analysis, Check, hookimpl`. So do programs that judge deliveries:
`from qc import build_host, checked, exit_code, render`. Names are handed on lazily, so that the command starts without
numpy.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from qc.model.version import VERSION

if TYPE_CHECKING:  # what is handed on, for those who check their types
    from qc.plugin_api import *  # noqa: F403

__version__ = VERSION

RUN = ("Checked", "Options", "build_host", "check", "checked", "exit_code", "render")
"""Names of `qc.api` for programs that judge deliveries; imported from there they have types for a type checker."""


def __getattr__(name: str) -> Any:
    """Hand on the names of qc.plugin_api and of qc.api, when first asked for."""
    if name.startswith("_"):
        raise AttributeError(name)
    if name in RUN:
        return getattr(import_module("qc.api"), name)  # by name, since every layer imports this module
    import qc.plugin_api

    if name in qc.plugin_api.__all__:
        return getattr(qc.plugin_api, name)
    raise AttributeError(f"module 'qc' has no attribute {name!r}")
