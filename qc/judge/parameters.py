"""Bind parameters to checks: read each value of a ruleset as the type that its check states."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from qc.model.errors import RulesetError
from qc.model.parameters import is_limit, parameter_type, written
from qc.model.report import ParameterFacts
from qc.plugin_base import Check
from qc.ruleset.load import RawParameter, Ruleset
from qc.text.sanitize import shown

OF_THE_CHECK = "default of the check"
"""Source of a parameter that the ruleset leaves out."""


def read_parameters(kind: type[Check[Any]], raw: Mapping[str, RawParameter]) -> Iterator[tuple[str, Any]]:
    """Yield the value of each parameter by its key; raises RulesetError, "FILE:LINE: ...", for one of another type."""
    for key, parameter in raw.items():
        info = kind.Limits.model_fields[key]
        if is_limit(info):
            raise RulesetError(f'{parameter.origin}: "{key}" of "{kind.id}" is a limit; give it "warn", "fail" or both')
        of = parameter_type(info)
        assert of is not None  # else the plugin is refused
        try:
            yield key, of.read(parameter.value)
        except ValueError as why:
            value = shown(parameter.value)
            raise RulesetError(
                f'{parameter.origin}: the parameter "{key}" of "{kind.id}" is "{value}"; {why}'
            ) from None


def bound_parameters(checks: Iterable[Check[Any]], ruleset: Ruleset) -> dict[str, ParameterFacts]:
    """Return every parameter with its value, by CHECK/PARAMETER, in the order of the checks."""
    found = {}
    for check in checks:
        raw = ruleset.parameters.get(check.id, {})
        for key, info in type(check.limits).model_fields.items():
            of, value = parameter_type(info), getattr(check.limits, key)
            if of is None or value is None:  # a limit, or a parameter without a value
                continue
            stated = raw.get(key)
            found[f"{check.id}/{key}"] = ParameterFacts(
                value=value if isinstance(value, bool | int | float) and not of.choices else written(value),
                unit=None if of.unit == "1" else of.unit,
                source=stated.source if stated else OF_THE_CHECK,
                origin=stated.origin if stated else "",
            )
    return found
