"""Values of a chain as they are written: a quantity within bounds, or one of a few words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from qc.delivery.fields import InputModel, Line
from qc.model.quantity import read, rounded
from qc.text.sanitize import misplaced, shown


class Sourced(InputModel):
    """A value of the chain as it is written, and where it comes from."""

    value: Line
    source: Line


@dataclass(frozen=True, slots=True)
class Between:
    """A quantity within bounds, written in any unit of its kind; `si` is the unit the chain holds it in."""

    low: float
    high: float
    unit: str
    si: str
    why: str
    """what is wrong with a value beyond, in a clause"""
    below: bool = False
    """whether the upper bound itself is left out"""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the validator that pydantic calls where this is in an annotation."""
        return core_schema.no_info_after_validator_function(self.checked, handler(source))

    def checked(self, entry: Sourced) -> Sourced:
        """Refuse what is not such a quantity, at its own line."""
        written = shown(entry.value)
        try:
            value = read(entry.value, self.unit)
        except ValueError as why:
            said = str(why).partition(", such as")[0]
            raise misplaced(f"{said}; write a number and its unit, {self.unit}", ("value",)) from None
        if not self.low <= value <= self.high or (self.below and value == self.high):
            high = f"below {self.high:g}" if self.below else f"to {self.high:g}"
            bounds = f"{self.low:g} {high} {self.unit}"
            raise misplaced(f'"{written}" is out of bounds; it must be {bounds} ({self.why})', ("value",))
        return entry

    def in_si(self, entry: Sourced) -> float:
        """Return it in SI; 292.6 mm is 0.2926 m and no 0.29260000000000003."""
        value = read(entry.value, self.si)
        return value if self.si == "rad" else rounded(value)


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of a few words."""

    words: tuple[str, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the validator that pydantic calls where this is in an annotation."""
        return core_schema.no_info_after_validator_function(self.checked, handler(source))

    def checked(self, entry: Sourced) -> Sourced:
        """Refuse any other word, at its own line."""
        if entry.value not in self.words:
            raise misplaced(f'"{shown(entry.value)}" must be one of {", ".join(self.words)}', ("value",))
        return entry
