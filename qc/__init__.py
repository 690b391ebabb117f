"""Sidegate: works out the groove of a vinyl side from its master, before the first cut, and judges it.

Plugin authors import from here: `from qc import Analysis, Check, hookimpl`. Names are handed on lazily, so
that the command starts without numpy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from qc.model.version import VERSION

if TYPE_CHECKING:  # what is handed on, for those who check their types
    from qc.plugin_api import *  # noqa: F403

__version__ = VERSION


def __getattr__(name: str) -> Any:
    """Hand on what qc.plugin_api holds, when first asked for."""
    if name.startswith("_"):
        raise AttributeError(name)
    import qc.plugin_api

    if name in qc.plugin_api.__all__:
        return getattr(qc.plugin_api, name)
    raise AttributeError(f"module 'qc' has no attribute {name!r}")
