"""The limits of a ruleset as they were bound to checks, put into the report's words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from qc.model.report import HeldLimit
from qc.plugin_api import Check, Limit


def held(checks: Iterable[Check[Any]]) -> dict[str, HeldLimit]:
    """Give every limit that is held against a measurement, by CHECK/LIMIT, in the order of the checks."""
    found = {}
    for check in checks:
        for name, judged in check.judges.items():
            limit = getattr(check.limits, name.partition(".")[0], None)
            if isinstance(limit, Limit):
                words = {key: getattr(limit, key) for key in Limit.model_fields}
                found[f"{check.id}/{name}"] = HeldLimit(measure=judged.measure, op=judged.op, **words)
    return found
