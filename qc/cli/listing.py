"""`sidegate plugins`: the plugins that were found, with their packages and hooks."""

from __future__ import annotations

from qc.cli.streams import emit
from qc.text.table import text_columns


def plugins() -> int:
    """List plugins: name, package and version, hooks, and the reason if one did not load (exit code 3)."""
    from qc import api

    host = api.build_host()
    rows = [("PLUGIN", "PACKAGE", "VERSION", "HOOKS")]
    rows += [(p.name, p.package, p.version, ", ".join(p.hooks or ()) or "-") for p in host.plugins]
    emit(text_columns(rows).encode())
    emit("".join(f"{failure.plugin}: {failure.stage}: {failure.message}\n" for failure in host.failures).encode())
    return 3 if host.failures else 0
