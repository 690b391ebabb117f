"""What there is to say of a measurement, a limit, a value of the chain and a source; for `explain` and the pages."""

from __future__ import annotations

import inspect
from collections.abc import Iterator, Mapping
from typing import Any

from qc import api
from qc.groove.geometry.meanings import MEANINGS
from qc.measure.side import FILE_UNITS
from qc.plugin_api import Check, Judged, Need
from qc.plugin_host.host import Host
from qc.ruleset.model import ChainEntry
from qc.ruleset.sources import SourceEntry
from qc.ruleset.value_types import Between, OneOf

CONFIDENCE = {
    "A": "A, a standard's own text or mathematics",
    "B": "B, a named secondary source",
    "C": "C, a weak or contradicted source",
    "M": "M, from memory",
    "practice": "custom of the trade",
}
HEARD = "The audio is measured through it, so a change takes another pass."
SILENT = "Its plugin does not say."


def trust(source: SourceEntry) -> str:
    """Say how far a source is to be trusted."""
    return "; ".join(CONFIDENCE.get(part, part) for part in source.confidence.split("/"))


def finds(kind: type[Check[Any]]) -> str:
    """Say what a check finds: the first paragraph of its docstring, else its title."""
    doc = (inspect.cleandoc(kind.__doc__ or "")).partition("\n\n")[0]
    return " ".join(doc.split()) or kind.title


def meanings(host: Host) -> Mapping[str, str]:
    """Give the meaning of every measurement that has one, by name."""
    known = dict(MEANINGS)
    for need in (*api.CORE, *host.needs):
        known |= need.meanings
    return known


def publisher(host: Host, name: str) -> str:
    """Say who publishes a measurement."""
    for need in (*api.CORE, *host.needs):
        if name in need.publishes:
            return f"{need.id}: {_first_line(need)} (the plugin {host.need_owner.get(need, 'sidegate itself')})"
    if name in FILE_UNITS:
        return "the file's own header"
    return "the groove as it is worked out from groove.sectors and groove.programme, at the judged level"


def _first_line(need: type[Need[Any]]) -> str:
    return ((need.__doc__ or "").strip().splitlines() or [need.id])[0].rstrip(".")


def judging(host: Host, measurement: str) -> Iterator[tuple[str, str, Judged]]:
    """Give every (check id, limit, what it is held against) that judges a measurement."""
    for check, kind in host.checks.items():
        for name, judged in kind.judges.items():
            if judged.measure == measurement:
                yield check, name, judged


def side_of(judged: Judged) -> str:
    """Say on which side of a limit a value must stay."""
    return "at most" if judged.op == "<=" else "at least"


def may_be(key: str) -> str:
    """Say what a value of the chain may be, and why no more; raises KeyError for a key that there is not."""
    section, _, name = key.partition(".")
    part = ChainEntry.model_fields[section].annotation
    for one in getattr(part, "model_fields", {})[name].metadata:
        if isinstance(one, Between):
            return f"{one.low:g} {'below' if one.below else 'to'} {one.high:g} {one.unit}: {one.why}"
        if isinstance(one, OneOf):
            return ", ".join(one.words)
    raise KeyError(key)
