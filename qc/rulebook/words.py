"""Words about measurements, limits, values of the chain and sources; for `explain` and the pages."""

from __future__ import annotations

import inspect
from collections.abc import Iterator, Mapping
from typing import Any

from qc import api
from qc.groove.geometry.meanings import MEANINGS
from qc.measure.side import FILE_UNITS
from qc.plugin_base import Check, Judged, Need
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
FILTERED = "The audio is measured through it, so a change takes another pass."
SILENT = "Its plugin does not say."


def trust(source: SourceEntry) -> str:
    """Word the confidence of a source."""
    return "; ".join(CONFIDENCE.get(part, part) for part in source.confidence.split("/"))


def finds(kind: type[Check[Any]]) -> str:
    """Return what a check finds: the first paragraph of its docstring, else its title."""
    doc = (inspect.cleandoc(kind.__doc__ or "")).partition("\n\n")[0]
    return " ".join(doc.split()) or kind.title


def meanings(host: Host) -> Mapping[str, str]:
    """Return the meaning of every measurement that has one, by name."""
    sentences = dict(MEANINGS)
    for need in (*api.CORE, *host.needs):
        sentences |= need.meanings
    return sentences


def publisher(host: Host, name: str) -> str:
    """Name the publisher of a measurement."""
    for need in (*api.CORE, *host.needs):
        if name in need.publishes:
            return f"{need.id}: {_first_line(need)} (the plugin {host.need_owner.get(need, 'sidegate itself')})"
    if name in FILE_UNITS:
        return "the file's own header"
    return "the groove as it is worked out from groove.sectors and groove.programme, at the judged level"


def _first_line(need: type[Need[Any]]) -> str:
    return ((need.__doc__ or "").strip().splitlines() or [need.id])[0].rstrip(".")


def judging(host: Host, measurement: str) -> Iterator[tuple[str, str, Judged]]:
    """Yield every (check id, limit, measurement that it judges) for a measurement."""
    for check, kind in host.checks.items():
        for name, judged in kind.judges.items():
            if judged.measure == measurement:
                yield check, name, judged


def side_of(judged: Judged) -> str:
    """Name the side of a limit on which a value must stay."""
    return "at most" if judged.op == "<=" else "at least"


def may_be(key: str) -> str:
    """Word the bounds of a value of the chain and their reason; raises KeyError for a key that there is not."""
    section, _, name = key.partition(".")
    part = ChainEntry.model_fields[section].annotation
    for bound in getattr(part, "model_fields", {})[name].metadata:
        if isinstance(bound, Between):
            return f"{bound.low:g} {'below' if bound.below else 'to'} {bound.high:g} {bound.unit}: {bound.why}"
        if isinstance(bound, OneOf):
            return ", ".join(bound.words)
    raise KeyError(key)
