"""Types for limits of numbers that a check computes itself, with the unit that no measurement defines."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import AfterValidator

from qc.plugin_api import Limit, convert, meets


def _in_unit(unit: str, op: Literal["<=", ">="] = "<=") -> Callable[[Limit], Limit]:
    """Return a validator that converts a limit to `unit`; it raises ValueError where it fails before it warns."""
    beyond = "above" if op == "<=" else "below"

    def checked(limit: Limit) -> Limit:
        values = {"warn": limit.warn, "fail": limit.fail}
        converted = {key: convert(value, limit.unit, unit) for key, value in values.items() if value is not None}
        if len(converted) == 2 and not meets(converted["warn"], converted["fail"], op, unit):
            warn, fail = converted["warn"], converted["fail"]
            raise ValueError(f"it warns {beyond} {warn:g} {unit} and already fails {beyond} {fail:g} {unit}")
        return limit.model_copy(update={"unit": unit, **converted})

    return checked


MostSeconds = Annotated[Limit, AfterValidator(_in_unit("s"))]
LeastSeconds = Annotated[Limit, AfterValidator(_in_unit("s", ">="))]
MostPercent = Annotated[Limit, AfterValidator(_in_unit("%"))]
MostLoudnessUnits = Annotated[Limit, AfterValidator(_in_unit("LU"))]
MostDecibels = Annotated[Limit, AfterValidator(_in_unit("dB"))]
MostBits = Annotated[Limit, AfterValidator(_in_unit("bit"))]
