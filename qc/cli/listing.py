"""`sidegate plugins`: who brings what there is to judge with."""

from __future__ import annotations

from collections.abc import Sequence

from qc.cli.streams import emit


def plugins() -> int:
    """List plugins: name, package and version, hooks, and why one did not load (exit code 3)."""
    from qc import api

    host = api.build_host()
    rows = [("PLUGIN", "PACKAGE", "VERSION", "HOOKS")]
    rows += [(p.name, p.package, p.version, ", ".join(p.hooks) or "-") for p in host.plugins]
    table(rows)
    emit("".join(f"{one.plugin}: {one.stage}: {one.message}\n" for one in host.failures).encode())
    return 3 if host.failures else 0


def table(rows: Sequence[Sequence[str]]) -> None:
    """Write columns on stdout, each as wide as its widest cell."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    emit("".join(line.rstrip() + "\n" for line in lines).encode())
