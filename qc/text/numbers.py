"""Numbers, limits and lists in words."""

from __future__ import annotations

from collections.abc import Iterable

from qc.model.quantity import Quantity, show, with_unit
from qc.model.report import HeldLimit, ParameterFacts


def is_share(name: str, unit: str) -> bool:
    """Whether a measurement is a share 0..1, of sectors or of time, which people read as a percentage."""
    return unit == "1" and name.endswith(("_share", "_time", "_time_twice"))


def percent(share: float) -> str:
    """Write a share as a percentage, with a digit after the point, or two digits where it is below 1 %."""
    value = 100.0 * share
    return f"{value:.1f} %" if abs(value) >= 0.995 or value == 0.0 else f"{value:.2g} %"


def number(name: str, value: float, unit: str) -> str:
    """Write a measured value for people; a share as a percentage, a count whole."""
    if unit == "1" and not is_share(name, unit) and value.is_integer():
        return f"{value:.0f}"  # a count
    return percent(value) if is_share(name, unit) else show(value, unit)


def quantity_text(name: str, quantity: Quantity) -> str:
    """Write a measurement for people, with the sign before its number of a bound or of an estimate."""
    return f"{quantity.prefix}{number(name, quantity.value, quantity.unit)}"


def both(limit: HeldLimit) -> str:
    """Write warn and fail of a limit with one unit: "120.65/115 mm", "2/10 %", "5000/- g"."""
    share = is_share(limit.measure, limit.unit)
    unit = "%" if share else limit.unit
    values = (None if value is None else value * (100.0 if share else 1.0) for value in (limit.warn, limit.fail))
    return with_unit("/".join("-" if value is None else f"{value:.6g}" for value in values), unit)


def parameter_text(facts: ParameterFacts) -> str:
    """Write the value of a parameter: "true", "0.1 s", a text as it is."""
    if isinstance(facts.value, bool):
        return str(facts.value).lower()
    value = facts.value if isinstance(facts.value, str) else f"{facts.value:.12g}"
    return with_unit(value, facts.unit or "1")


def listed(words: Iterable[str]) -> str:
    """Join words as a sentence does: "A, B and C"."""
    *first, last = list(words) or [""]
    return f"{', '.join(first)} and {last}" if first else last
