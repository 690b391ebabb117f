"""Convert the limits that were bound to checks to report models."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from qc.model.names import limit_key
from qc.model.report import HeldLimit
from qc.plugin_base import Check, Limit


def bound_limits(checks: Iterable[Check[Any]]) -> dict[str, HeldLimit]:
    """Return every limit with its measurement, by CHECK/LIMIT, in the order of the checks."""
    found = {}
    for check in checks:
        for name, judged in check.judges.items():
            limit = getattr(check.limits, limit_key(name), None)
            if isinstance(limit, Limit):
                words = {key: getattr(limit, key) for key in Limit.model_fields}
                found[f"{check.id}/{name}"] = HeldLimit(measure=judged.measure, of=judged.of, op=judged.op, **words)
    return found
