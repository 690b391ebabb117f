"""`sidegate rulesets` and `sidegate plugins`: what there is to judge by, and who brings it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from qc.cli.main import emit
from qc.ruleset.find import Available, available
from qc.ruleset.heading import heading


def rulesets() -> int:
    """List rulesets: name@version, what they serve, where they lie."""
    from qc.hooks.folders import ruleset_folders

    folders = ruleset_folders()
    _table([("RULESET", "SERVES", "SHA-256"), *(_row(there, folders) for there in available(folders))])
    return 0


def _row(there: Available, folders: Sequence[Path]) -> tuple[str, str, str]:
    """Give the row of a ruleset; one whose heading does not tell, or tells another name, is loaded."""
    told = heading(there.path)
    if told is not None and (told.name, told.version) == (there.name, there.version):
        return f"{told.name}@{told.version}", f"{told.size} at {told.speed}", told.sha256[:16]
    from qc.ruleset.load import load_ruleset
    from qc.ruleset.sources import Sources

    ruleset = load_ruleset(there, Sources(folders))
    return f"{ruleset.name}@{ruleset.version}", " at ".join(ruleset.serves), ruleset.sha256[:16]


def plugins() -> int:
    """List plugins: name, package and version, hooks, and why one did not load (exit code 3)."""
    from qc import api

    host = api.build_host()
    rows = [("PLUGIN", "PACKAGE", "VERSION", "HOOKS")]
    rows += [(p.name, p.package, p.version, ", ".join(p.hooks) or "-") for p in host.plugins]
    _table(rows)
    emit("".join(f"{one.plugin}: {one.stage}: {one.message}\n" for one in host.failures).encode())
    return 3 if host.failures else 0


def _table(rows: Sequence[Sequence[str]]) -> None:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    emit("".join(line.rstrip() + "\n" for line in lines).encode())
