"""`sidegate rulesets` and `sidegate plugins`: what there is to judge by, and who brings it."""

from __future__ import annotations

from collections.abc import Sequence

from qc.cli.main import emit


def rulesets() -> int:
    """List rulesets: name@version, what they serve, where they lie."""
    from qc import api
    from qc.ruleset.load import load_ruleset
    from qc.ruleset.sources import Sources

    rows = [("RULESET", "SERVES", "SHA-256")]
    host = api.build_host()
    sources = Sources(host.ruleset_folders)
    for there in api.rulesets(host):
        ruleset = load_ruleset(there, sources)
        rows.append((f"{ruleset.name}@{ruleset.version}", " at ".join(ruleset.serves), ruleset.sha256[:16]))
    _table(rows)
    return 0


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
