"""Numbers with units: written ("13 um"), in reports ({value, unit}), converted, compared and shown."""

from __future__ import annotations

import math
import re
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, SerializerFunctionWrapHandler, field_validator, model_serializer

Op = Literal["<=", ">="]
Polarity = Literal["normal", "inverted"]


class Model(BaseModel):
    """Base of every model: frozen, closed to unknown keys, finite numbers only."""

    model_config = ConfigDict(
        defer_build=True,  # most models are parts of another, which builds them
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        serialize_by_alias=True,
        validate_by_name=True,
        validate_by_alias=True,
    )


M = TypeVar("M", bound=Model)


def validated_copy(kind: type[M], value: M) -> M:
    """Return a copy with every value validated: `model_construct` and `model_copy` make models without it."""
    return kind.model_validate(value.model_dump(warnings=False))


class Sparse(Model):
    """A model whose unset optional fields are left out of the JSON."""

    @model_serializer(mode="wrap")
    def _leave_out_none(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return {key: value for key, value in handler(self).items() if value is not None}


def without_empty(data: dict[str, Any], key: str) -> dict[str, Any]:
    """Return a serialised model without one of its keys where that is empty."""
    return {name: value for name, value in data.items() if name != key or value}


class At(Sparse):
    """A place on a side: file seconds, track number, channel, radius in mm, polarity of the cut."""

    start_s: float | None = None
    end_s: float | None = None
    track: int | None = None
    channel: str | None = None
    radius_mm: float | None = None
    polarity: Polarity | None = None


class Quantity(Sparse):
    """A measured value with its unit; the true value is less where `bound` is "<", greater where it is ">".

    `accuracy` says how a value was found that may be estimated or worked out exactly; others have none.
    """

    value: float
    """never -0.0"""
    unit: str
    bound: Literal["<", ">"] | None = None
    accuracy: Literal["estimated", "exact"] | None = None
    at: At | None = None

    @field_validator("value")
    @classmethod
    def _without_negative_zero(cls, value: float) -> float:
        return value + 0.0

    @property
    def prefix(self) -> str:
        """Return what is written before the number: "<", ">", or "about " for an estimate."""
        return "about " if self.accuracy == "estimated" else self.bound or ""

    def __str__(self) -> str:
        return f"{self.prefix}{show(self.value, self.unit)}"


# unit -> (dimension, factor to the dimension's first unit); levels of different references do not convert
_UNITS: dict[str, tuple[str, float]] = {
    "m": ("length", 1.0),
    "cm": ("length", 1e-2),
    "mm": ("length", 1e-3),
    "um": ("length", 1e-6),
    "in": ("length", 0.0254),
    "m/s": ("velocity", 1.0),
    "cm/s": ("velocity", 1e-2),
    "mm/s": ("velocity", 1e-3),
    "s": ("time", 1.0),
    "ms": ("time", 1e-3),
    "us": ("time", 1e-6),
    "min": ("time", 60.0),
    "Hz": ("frequency", 1.0),
    "kHz": ("frequency", 1e3),
    "rad": ("angle", 1.0),
    "deg": ("angle", math.pi / 180.0),
    "1": ("ratio", 1.0),
    "%": ("ratio", 1e-2),
    "g": ("acceleration", 1.0),
    "turn": ("number of turns", 1.0),
    "bit": ("number of bits", 1.0),
    "dB": ("level in dB", 1.0),
    "dBFS": ("level in dBFS", 1.0),
    "dBTP": ("level in dBTP", 1.0),
    "LU": ("level in LU", 1.0),
    "LUFS": ("level in LUFS", 1.0),
}
_WRITTEN = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z%/]*)\Z")
LONGEST = 100
"""Most characters of a written quantity, which bounds the work of the pattern."""
_TOLERANCE = {"um": 0.01, "mm": 0.01}
_PLURALS = {"turn": "turns", "bit": "bits"}
"""Units that are words and no symbols."""
_PLACES = {
    "um": 1, "mm": 2, "cm/s": 1, "g": 0, "dB": 1, "dBFS": 1, "dBTP": 2, "LUFS": 1, "LU": 1, "Hz": 0, "s": 2, "us": 1,
    "turn": 2, "min": 2, "1": 3, "%": 0, "bit": 0,
}  # fmt: skip


def dimensions() -> dict[str, dict[str, float]]:
    """Return the units of every dimension, those that convert into each other, each with its factor to the first."""
    found: dict[str, dict[str, float]] = {}
    for unit, (dimension, factor) in _UNITS.items():
        found.setdefault(dimension, {})[unit] = factor
    return found


def tolerance(unit: str) -> float | None:
    """Return the tolerance of a comparison in a unit; None where it only covers rounding."""
    return _TOLERANCE.get(unit)


def is_unit(unit: object) -> bool:
    """Whether a unit is one that quantities may have, written as it is here: "um", and neither "um " nor "µm"."""
    return isinstance(unit, str) and unit in _UNITS


def require_unit(unit: object, what: str) -> None:
    """Raise ValueError, a sentence about `what`, for a unit that quantities cannot have."""
    if not is_unit(unit):
        raise ValueError(f'{what} has the unit "{str(unit)[:LONGEST]}", which is not one of {", ".join(_UNITS)}')


def parse(text: str) -> tuple[float, str]:
    """Split "115 mm" into (115.0, "mm"); a bare number has unit "1". Raises ValueError with one sentence."""
    number, unit = _split(text)
    unit = next((word for word, plural in _PLURALS.items() if unit == plural), unit) or "1"
    require_unit(unit, f'"{text}"')
    value = float(number)
    if not math.isfinite(value):
        raise ValueError(f'"{text}" is not a finite number')
    return value, unit


def spaced(text: str) -> str:
    """Write "10um" as rulesets do, "10 um", with the same digits; raises ValueError as `parse` does."""
    parse(text)
    return " ".join(_split(text)).strip()


def _split(text: str) -> tuple[str, str]:
    text = str(text)
    if len(text) > LONGEST:
        raise ValueError(f"a quantity of {len(text)} characters is too long; at most {LONGEST} are read")
    match = _WRITTEN.match(text.strip().replace("\u00b5", "u").replace("\u03bc", "u"))  # micro sign and mu
    if match is None:
        raise ValueError(f'"{text}" is not a number with a unit, such as "13 um"')
    return match[1], match[2]


def convert(value: float, unit: str, to: str) -> float:
    """Convert `value` from `unit` to the unit `to`; raises ValueError when their dimensions differ."""
    if unit == to:
        return value
    (have, factor), (want, to_factor) = _UNITS[unit], _UNITS[to]
    if have != want:
        if unit == "1":
            raise ValueError(f'"{value:g}" has no unit, and {to} is needed')
        where = "" if want.endswith(to) else f", in {to}"
        raise ValueError(f"{value:g} {unit} is {_a(have)}, and {_a(want)} is needed{where}")
    return value * factor / to_factor


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def read(text: str, to: str) -> float:
    """Parse a written quantity and convert it to the unit `to`: `read("115 mm", "m")` is 0.115."""
    value, unit = parse(text)
    return convert(value, unit, to)


def rounded(value: float) -> float:
    """Return a value that was converted, to twelve digits: 18 um are 1.8e-05 m and no 1.7999999999999997e-05."""
    return float(f"{value:.12g}")


def meets(value: float, bound: float, op: Op, unit: str) -> bool:
    """Whether `value` keeps the limit `bound`, with a tolerance of 0.01 um (0.01 mm for a diameter)."""
    furthest = limit_with_tolerance(bound, op, unit)
    return value <= furthest if op == "<=" else value >= furthest


def limit_with_tolerance(bound: float, op: Op, unit: str) -> float:
    """Return the last value that keeps the limit `bound`, its tolerance included."""
    slack = _TOLERANCE.get(unit, 1e-9 * max(1.0, abs(bound)))
    return bound + slack if op == "<=" else bound - slack


def margin(value: float, bound: float, op: Op) -> float:
    """Distance of the value from the bound, in its unit: positive inside, negative beyond."""
    return bound - value if op == "<=" else value - bound


def show(value: float, unit: str) -> str:
    """Format a value for the reader: places by unit, counts whole, levels with a sign, under 1 % two digits."""
    places = 0 if unit in {"1", *_PLURALS} and float(value).is_integer() else _PLACES.get(unit, 3)
    sign = "+" if unit in {"dB", "dBTP", "LU"} else ""
    text = f"{value:.2g}" if unit == "%" and 0.0 < abs(value) < 0.995 else f"{value:{sign}.{places}f}"
    if float(text) == 0.0:
        text = text.replace("-", "").replace("+", "")
    return with_unit(text, unit)


def with_unit(number: str, unit: str) -> str:
    """Write a unit behind a number, in the plural where it is a word: "1 bit", "0.84 turns", "279"."""
    return number if unit == "1" else f"{number} {unit if number == '1' else _PLURALS.get(unit, unit)}"


def minutes(second: int) -> str:
    """Format whole file seconds as m:ss."""
    return f"{second // 60}:{second % 60:02d}"


def clock(seconds: float) -> str:
    """Format file seconds as m:ss.mmm, the notation of delivery documents."""
    millis = round(seconds * 1000.0)
    whole, rest = divmod(millis, 1000)
    return f"{minutes(whole)}.{rest:03d}"
