"""Types for the values in a case file: numbers with units, read into SI units or factors of full scale."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from qc.delivery.fields import InputModel
from qc.model.quantity import convert, parse, read
from qc.text.sanitize import shown


def _of(unit: str, example: str) -> BeforeValidator:
    """Return a validator that reads a quantity as a number of `unit`."""

    def number(value: Any) -> float:
        if not isinstance(value, str):
            raise ValueError(f'this is not a single value; write it like "{example}"')  # noqa: TRY004 - pydantic's way
        try:
            return read(value, unit)
        except ValueError:
            raise ValueError(f'"{shown(value)}" is not given in {unit}; write it like "{example}"') from None

    return BeforeValidator(number)


def _peak(value: Any) -> float:
    try:
        return float(10.0 ** (read(str(value), "dBFS") / 20.0))
    except ValueError:
        raise ValueError(f'"{shown(str(value))}" is not a level in dBFS; write it like "-18 dBFS"') from None


def _frames_a_second(value: Any) -> int:
    try:
        return round(read(str(value), "Hz"))
    except ValueError:
        raise ValueError(f'"{shown(str(value))}" is not a sample rate; write it like "48 kHz"') from None


Seconds = Annotated[float, _of("s", "2.5 s")]
Hertz = Annotated[float, _of("Hz", "1 kHz")]
Phase = Annotated[float, _of("rad", "90 deg")]
Part = Annotated[float, _of("1", "40 %"), Field(ge=0.0, le=1.0)]
Level = Annotated[float, BeforeValidator(_peak)]
"""A level written in dBFS and read as a factor of full scale."""
Rate = Annotated[int, BeforeValidator(_frames_a_second)]


class Number(InputModel):
    """An expected number: near a value within a tolerance, or between a minimum and a maximum."""

    near: str | None = None
    within: str | None = None
    at_least: str | None = None
    at_most: str | None = None

    def model_post_init(self, _: object, /) -> None:
        """Raise ValueError where any number would do, "near" or "within" is missing, or a text is no quantity."""
        if (self.near is None) != (self.within is None):
            raise ValueError('"near" and "within" go together; write both')
        if self.near is None and self.at_least is None and self.at_most is None:
            raise ValueError('nothing is asked of this number; write "near" with "within", "at_least" or "at_most"')
        for text in (self.near, self.within, self.at_least, self.at_most):
            if text is not None:
                parse(text)

    def span(self, unit: str) -> tuple[float, float]:
        """Return the least and the greatest accepted value in a unit; raises ValueError where units differ."""
        least, most = float("-inf"), float("inf")
        if self.near is not None and self.within is not None:
            near, slack = read(self.near, unit), self._slack(unit)
            least, most = near - slack, near + slack
        if self.at_least is not None:
            least = max(least, read(self.at_least, unit))
        if self.at_most is not None:
            most = min(most, read(self.at_most, unit))
        return least, most

    def _slack(self, unit: str) -> float:
        """Return the tolerance "within" in a unit; a percentage refers to the value, unless that is a ratio itself."""
        slack, of = parse(str(self.within))
        if of == "%" and parse(str(self.near))[1] not in {"%", "1"}:
            return abs(read(str(self.near), unit)) * slack / 100.0
        if of in {"dB", "LU"} and unit in {"dB", "dBFS", "dBTP", "LU", "LUFS"}:
            return slack
        return convert(slack, of, unit)
