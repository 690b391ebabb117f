"""Types of the values in a delivery file, with their validators and the JSON Schema of the written form."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    ValidationInfo,
    WithJsonSchema,
    model_validator,
)

from qc.delivery import timecode as times
from qc.model.names import SIDE_ID
from qc.model.quantity import Model, read
from qc.text.sanitize import misplaced, shown

_LEAST_CUT_LEVEL, _GREATEST_CUT_LEVEL = -40.0, 20.0  # dB; beyond these a level is a slip of the pen


def _as_written(schema: dict[str, Any]) -> None:
    """Take the nulls out: an optional key may be left out of a file, but never left empty."""
    for key, value in schema.get("properties", {}).items():
        choices = [choice for choice in value.get("anyOf", ()) if choice != {"type": "null"}]
        rest = {name: part for name, part in value.items() if name != "default" or part is not None}
        if len(choices) == 1:
            del rest["anyOf"]
            rest.update(choices[0])
        elif choices:
            rest["anyOf"] = choices
        schema["properties"][key] = rest


class InputModel(Model):
    """Base of every part of a delivery: no key may be left empty in a file."""

    model_config = ConfigDict(json_schema_extra=_as_written)

    @model_validator(mode="before")
    @classmethod
    def _nothing_empty(cls, data: Any, info: ValidationInfo) -> Any:
        if isinstance(data, Mapping) and (info.context or {}).get("written"):
            fields = {field.alias or name: field for name, field in cls.model_fields.items()}
            for key, value in data.items():
                if value is None and key in fields:
                    remedy = "fill it in" if fields[key].is_required() else "fill it in, or leave the line out"
                    raise misplaced(f'"{key}" is empty; {remedy}', (key,))
        return data


# -- text ----------------------------------------------------------------------------------------------------


def _some_text(text: str) -> str:
    if not text.strip():
        raise ValueError("this is blank; fill it in, or leave the line out")
    return text.strip()


def _one_line(text: str) -> str:
    if "\n" in _some_text(text):
        raise ValueError("this runs over several lines; write it on one")
    return text.strip()


# `catalogue: 001` and `title: 1984` are valid YAML; both are read as text, exactly as written
_ANY_TEXT = {"type": ["string", "number", "boolean"]}
Text = Annotated[str, AfterValidator(_some_text), WithJsonSchema(_ANY_TEXT)]
Line = Annotated[str, AfterValidator(_one_line), WithJsonSchema(_ANY_TEXT)]


def _id(text: str) -> str:
    if SIDE_ID.fullmatch(text) is None:
        use = 'use at most 16 letters, digits, ".", "_" and "-", a letter or digit first'
        raise ValueError(f'"{shown(text)}" cannot name a side; {use}')
    return text


SideId = Annotated[
    str, AfterValidator(_id), WithJsonSchema({**_ANY_TEXT, "pattern": r"^[A-Za-z0-9][A-Za-z0-9._-]{0,15}$"})
]


def _sha256(text: str) -> str:
    if re.fullmatch(r"[0-9A-Fa-f]{64}", text.strip()) is None:
        raise ValueError(f'"{shown(text)}" is not a SHA-256 digest; it has 64 hex digits')
    return text.strip().lower()


Sha256 = Annotated[
    str,
    AfterValidator(_sha256),
    WithJsonSchema({"type": ["string", "number"], "pattern": "^[0-9A-Fa-f]{64}$"}),
]


def _inside(text: str) -> str:
    """Keep a path inside the delivery's folder, as far as its spelling goes."""
    inside = "name a file inside the delivery's folder"
    text = _one_line(text)
    if "\\" in text:
        raise ValueError(f'"{shown(text)}" has a backslash; {inside}, with "/" between folders')
    if text.startswith("/") or re.match(r"[A-Za-z]:", text):
        raise ValueError(f'"{shown(text)}" is an absolute path; {inside}')
    if ".." in text.split("/"):
        raise ValueError(f'"{shown(text)}" climbs out of its folder with ".."; {inside}')
    return text


InsidePath = Annotated[
    str,
    AfterValidator(_inside),
    WithJsonSchema({"type": "string", "pattern": r"^(?!/|[A-Za-z]:|\.\.(/|$)|.*/\.\.(/|$))[^\\]+$"}),
]


# -- numbers, times, days ------------------------------------------------------------------------------------


# pydantic makes a fault of a ValueError only, so a wrong type is one here as well.


def _time(value: Any) -> Fraction:
    if not isinstance(value, str | int | float | Fraction):
        raise ValueError('this is not a single time; write "m:ss.fff"')  # noqa: TRY004
    return times.read_time(value)


Seconds = Annotated[
    Fraction,
    BeforeValidator(_time),
    PlainSerializer(times.to_seconds_float, return_type=float, when_used="json"),
    WithJsonSchema({"anyOf": [{"type": "number", "minimum": 0}, {"type": "string", "pattern": times.PATTERN}]}),
]
"""exact seconds; in JSON the nearest float"""


def _decibels(value: Any) -> float:
    if not isinstance(value, str | int | float):
        raise ValueError('this is not a single level; write it like "-3 dB"')  # noqa: TRY004
    try:
        level = float(value) if isinstance(value, int | float) else read(value, "dB")
    except ValueError:
        raise ValueError(f'"{shown(str(value))}" is not a level in dB; write it like "-3 dB"') from None
    if not _LEAST_CUT_LEVEL <= level <= _GREATEST_CUT_LEVEL:
        raise ValueError(f'"{shown(str(value))}" is out of reach; a cut level lies between -40 dB and +20 dB')
    return level


_NUMBER = r"\s*[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?\s*"
Decibels = Annotated[
    float,
    BeforeValidator(_decibels),
    WithJsonSchema({"type": "string", "pattern": rf"^{_NUMBER}dB\s*$"}),
]


def _measured_in(unit: str, example: str) -> AfterValidator:
    """Return a validator that accepts a written quantity of this kind and keeps its text."""

    def check(text: str) -> str:
        try:
            read(text, unit)
        except ValueError:
            raise ValueError(f'"{shown(text)}" is not given in {unit}; write it like "{example}"') from None
        return text.strip()

    return AfterValidator(check)


_QUANTITY = WithJsonSchema({"type": "string", "pattern": rf"^{_NUMBER}[A-Za-z/]+\s*$"})
Speed = Annotated[str, _measured_in("cm/s", "38 cm/s"), _QUANTITY]
Frequency = Annotated[str, _measured_in("Hz", "1000 Hz"), _QUANTITY]
ToneLevel = Annotated[str, _measured_in("dBFS", "-18 dBFS"), _QUANTITY]


def _day(value: Any) -> dt.date:
    if isinstance(value, dt.date):
        return value
    written = str(value)
    try:
        # Python would take 20260301 and 2026-W09-7 as well.
        return dt.date.fromisoformat(written if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", written) else "")
    except ValueError:
        raise ValueError(f'"{shown(written)}" is not a day; write it like 2026-03-01') from None


Day = Annotated[dt.date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]


def _first_schema(value: Any) -> Any:
    if str(value) != "1":
        raise ValueError(f'"{shown(str(value))}" is not known to this version, which reads schema 1')
    return 1


SchemaOne = Annotated[Literal[1], BeforeValidator(_first_schema), WithJsonSchema({"const": 1})]
Counted = Annotated[int, Field(ge=1)]
