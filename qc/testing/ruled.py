"""The ruleset of a case: the disc it serves, and the file of one with some limits and parameters replaced."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qc.delivery.model import Disc
from qc.plugin_host.host import Host
from qc.ruleset.choose import named
from qc.ruleset.library import Shelf
from qc.ruleset.load import RawLimit, RawMeasure, RawParameter, Ruleset
from qc.ruleset.model import Entry

WRITTEN = ("value", "warn", "fail", "sets_level", "source")


def served_disc(spec: str, host: Host) -> Disc:
    """Return the disc that a ruleset serves; raises RulesetError where it cannot be found or read."""
    shelf = Shelf.of(host)
    size, speed = shelf.load(named(spec, host, shelf)).serves
    return Disc.model_validate({"size": size, "speed": speed})


def write_with_limits(ruleset: Ruleset, limits: Mapping[str, Mapping[str, Entry]], path: Path) -> Path:
    """Write a ruleset with further limits to a file, and return its path.

    A limit or parameter replaces the one with the same key, of a check or of a measure of the ruleset; a check that
    was off is judged.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(_written(ruleset, limits), indent=1, ensure_ascii=False), encoding="utf-8")
    return path


def _written(ruleset: Ruleset, limits: Mapping[str, Mapping[str, Entry]]) -> dict[str, Any]:
    """Return the contents of the ruleset file."""
    merged = {check: {k: _entry(entry) for k, entry in ruleset.entries(check).items()} for check in ruleset.limits}
    measures = {check: _measure(measure) for check, measure in ruleset.measures.items()}
    for check, more in limits.items():
        own = measures if check in measures else merged
        own[check] = own.get(check, {}) | {key: _entry(entry) for key, entry in more.items()}
    size, speed = ruleset.serves
    return {
        "schema": "1",
        "name": f"case-{ruleset.name}",
        "version": ruleset.version,
        "serves": {"size": size, "speed": speed},
        "requires": dict(ruleset.requires),
        "chain": {section: _rows(rows) for section, rows in ruleset.chain_rows.items()},
        **({"tips": _tips(ruleset)} if ruleset.tips else {}),
        **({"level": dict(ruleset.level_rows)} if ruleset.level_rows else {}),
        "limits": merged,
        "measures": measures,
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


def _measure(measure: RawMeasure) -> dict[str, Any]:
    words = {"measure": measure.measure, "title": measure.title, "why": measure.why, "remedy": measure.remedy}
    limits = {key: _entry(limit) for key, limit in measure.limits.items()}
    return {**{key: text for key, text in words.items() if text}, **limits}


def _entry(entry: RawLimit | RawParameter | Entry) -> dict[str, str]:
    return {key: value for key in WRITTEN if (value := getattr(entry, key, None)) is not None}


def _rows(rows: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
    return {name: {key: row[key] for key in ("value", "source")} for name, row in rows.items()}
