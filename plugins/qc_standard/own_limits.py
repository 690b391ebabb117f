"""Limits that only a check itself looks at: no measurement gives them their unit, so the check says it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from pydantic import AfterValidator

from qc.model.quantity import convert, meets
from qc.plugin_api import Limit


def _at_most(unit: str) -> Callable[[Limit], Limit]:
    """Take a limit that a value must stay below, in any unit of the kind; give it in that unit."""

    def checked(limit: Limit) -> Limit:
        values = {"warn": limit.warn, "fail": limit.fail}
        known = {key: convert(value, limit.unit, unit) for key, value in values.items() if value is not None}
        if len(known) == 2 and not meets(known["warn"], known["fail"], "<=", unit):
            raise ValueError(
                f"it warns above {known['warn']:g} {unit} and already fails above {known['fail']:g} {unit}"
            )
        return limit.model_copy(update={"unit": unit, **known})

    return checked


MostSeconds = Annotated[Limit, AfterValidator(_at_most("s"))]
MostPercent = Annotated[Limit, AfterValidator(_at_most("%"))]
MostLoudnessUnits = Annotated[Limit, AfterValidator(_at_most("LU"))]
MostDecibels = Annotated[Limit, AfterValidator(_at_most("dB"))]
