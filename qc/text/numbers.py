"""Numbers, limits and lists in words."""

from __future__ import annotations

from collections.abc import Iterable

from qc.model.quantity import show
from qc.model.report import HeldLimit


def is_share(name: str) -> bool:
    """Whether a measurement is a share 0..1, of sectors or of time, which people read as a percentage."""
    return name.endswith(("_share", "_time", "_time_twice"))


def number(name: str, value: float, unit: str) -> str:
    """Write a measured value for people; a share as a percentage, a count whole."""
    if unit == "1" and not is_share(name) and value.is_integer():
        return f"{value:.0f}"  # a count
    return f"{100.0 * value:.1f} %" if is_share(name) else show(value, unit)


def both(limit: HeldLimit) -> str:
    """Write warn and fail of a limit with one unit: "120.65/115 mm", "2/10 %", "5000/- g"."""
    share = is_share(limit.measure)
    unit = "%" if share else "" if limit.unit == "1" else limit.unit
    values = (None if value is None else value * (100.0 if share else 1.0) for value in (limit.warn, limit.fail))
    return f"{'/'.join('-' if value is None else f'{value:.6g}' for value in values)} {unit}".rstrip()


def listed(words: Iterable[str]) -> str:
    """Join words as a sentence does: "A, B and C"."""
    *first, last = list(words) or [""]
    return f"{', '.join(first)} and {last}" if first else last
