"""Write the ruleset of a case: the one that would judge it, with some limits and parameters replaced."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qc.delivery.reader import ReadDelivery
from qc.plugin_host.host import Host
from qc.ruleset.choose import choose
from qc.ruleset.load import RawLimit, RawParameter, Ruleset
from qc.ruleset.model import Entry

WRITTEN = ("value", "warn", "fail", "sets_level", "source")


def ruled(
    read: ReadDelivery, asked: str | None, limits: Mapping[str, Mapping[str, Entry]], host: Host, path: Path
) -> Path:
    """Write the ruleset of a delivery, or the requested one, with further limits, and return the path of the file.

    A limit or parameter replaces the one with the same key, and a check that was off is judged. Raises the errors of
    `qc.ruleset.choose.choose`.
    """
    ruleset = choose(read, asked, host)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(_written(ruleset, limits), indent=1, ensure_ascii=False), encoding="utf-8")
    return path


def _written(ruleset: Ruleset, limits: Mapping[str, Mapping[str, Entry]]) -> dict[str, Any]:
    """Return the contents of the ruleset file."""
    merged = {check: {k: _entry(entry) for k, entry in ruleset.entries(check).items()} for check in ruleset.limits}
    for check, more in limits.items():
        merged[check] = merged.get(check, {}) | {key: _entry(entry) for key, entry in more.items()}
    size, speed = ruleset.serves
    return {
        "schema": "1",
        "name": f"case-{ruleset.name}",
        "version": ruleset.version,
        "serves": {"size": size, "speed": speed},
        "requires": dict(ruleset.requires),
        "chain": {section: _rows(rows) for section, rows in ruleset.chain_rows.items()},
        **({"tips": _tips(ruleset)} if ruleset.tips else {}),
        "limits": merged,
        "off": {check: reason for check, reason in ruleset.off.items() if check not in limits},
    }


def _tips(ruleset: Ruleset) -> dict[str, dict[str, str]]:
    """Return the tips as a ruleset file names them: a spherical one by its radius, others by those along and across."""
    rows = {}
    for tip in ruleset.tips:
        sizes = {"along": tip.along, "across": tip.across} if tip.across != tip.along else {"radius": tip.along}
        written = {key: f"{1e6 * size:.10g} um" for key, size in sizes.items() if size is not None}
        rows[tip.name] = {**written, "source": ruleset.tip_rows[tip.name]["source"]}
    return rows


def _entry(entry: RawLimit | RawParameter | Entry) -> dict[str, str]:
    return {key: value for key in WRITTEN if (value := getattr(entry, key, None)) is not None}


def _rows(rows: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
    return {name: {key: row[key] for key in ("value", "source")} for name, row in rows.items()}
