"""Types for limits of numbers that a check computes itself, with the unit that no measurement defines."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from pydantic import AfterValidator

from qc.plugin_api import Limit, convert, meets


def _at_most(unit: str) -> Callable[[Limit], Limit]:
    """Return a validator that converts a maximum to `unit`; it raises ValueError where warn lies above fail."""

    def checked(limit: Limit) -> Limit:
        values = {"warn": limit.warn, "fail": limit.fail}
        converted = {key: convert(value, limit.unit, unit) for key, value in values.items() if value is not None}
        if len(converted) == 2 and not meets(converted["warn"], converted["fail"], "<=", unit):
            raise ValueError(
                f"it warns above {converted['warn']:g} {unit} and already fails above {converted['fail']:g} {unit}"
            )
        return limit.model_copy(update={"unit": unit, **converted})

    return checked


MostSeconds = Annotated[Limit, AfterValidator(_at_most("s"))]
MostPercent = Annotated[Limit, AfterValidator(_at_most("%"))]
MostLoudnessUnits = Annotated[Limit, AfterValidator(_at_most("LU"))]
MostDecibels = Annotated[Limit, AfterValidator(_at_most("dB"))]
