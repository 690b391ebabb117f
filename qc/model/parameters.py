"""Parameters of checks: texts, patterns, switches, plain numbers and choices that a ruleset sets as it sets limits."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import ConfigDict, StringConstraints, TypeAdapter, ValidationError
from pydantic_core import SchemaError

from qc.model.errors import TextTooLongError
from qc.model.quantity import convert, parse, require_unit, rounded
from qc.model.report import Limit

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

LONGEST = 256
"""Most characters of a parameter's value, and of a text that a pattern is matched with."""
_REASON = re.compile(r"^error: (.+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Pattern:
    """A regular expression. No pattern takes long: the time to match grows with the text, never faster.

    That excludes look-ahead, look-behind and references back to a group. Raises ValueError, a sentence, for a pattern
    that cannot be read.
    """

    value: str

    def __post_init__(self) -> None:
        _compiled(self.value)

    def __str__(self) -> str:
        return self.value

    def matches(self, text: str) -> bool:
        """Whether the pattern is found in a text: anywhere, or where "^" and "$" place it.

        Raises TextTooLongError for a text of more than 256 characters, which becomes a finding of the check.
        """
        if not isinstance(text, str):
            raise TypeError(f"a pattern is matched with a text, not with a value of type {type(text).__name__}")
        if len(text) > LONGEST:
            raise TextTooLongError(text, LONGEST)
        try:
            _compiled(self.value).validate_python(text)
        except ValidationError:
            return False
        return True


@lru_cache(maxsize=256)
def _compiled(pattern: str) -> TypeAdapter[str]:
    """Compile a pattern for an engine that never goes back in the text, so that none can hang."""
    try:
        return TypeAdapter(
            Annotated[str, StringConstraints(pattern=pattern)], config=ConfigDict(regex_engine="rust-regex")
        )
    except SchemaError as fault:
        raise ValueError(_unreadable(str(fault))) from None


def _unreadable(said: str) -> str:
    """Return the reason why a pattern cannot be compiled, the rest of a sentence about it."""
    if "size limit" in said:
        return "as a pattern it is too large; write smaller numbers of repetitions"
    if "look-around" in said or "backreference" in said:
        return "a pattern cannot look ahead, look behind or refer back to a group; write it without"
    reason = _REASON.search(said)
    return f"it is no pattern that can be read{f' ({reason[1]})' if reason else ''}; correct it"


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit in which a check reads a number, as in `Annotated[float, Unit("mm")]`; rulesets may write another."""

    name: str

    def __post_init__(self) -> None:
        require_unit(self.name, "a parameter")


@dataclass(frozen=True, slots=True)
class ParameterType:
    """The type of a parameter: what a ruleset may write for it."""

    kind: type
    unit: str = "1"
    """unit of a number; "1" for a number without one"""
    choices: tuple[Any, ...] = ()

    @property
    def words(self) -> str:
        """Description of what a value must be, "a number in mm"."""
        if self.choices:
            return f"one of {', '.join(map(written, self.choices))}"
        unit = "" if self.unit == "1" else f" in {self.unit}"
        words = {bool: "true or false", int: f"a whole number{unit}", float: f"a number{unit}", str: "a text"}
        return words.get(self.kind, "a pattern")

    @property
    def written_alike(self) -> str:
        """The text that a ruleset would write for two of the choices; empty where each has its own."""
        texts = [written(choice) for choice in self.choices]
        return next((text for text in texts if texts.count(text) > 1), "")

    def may_be(self, value: object) -> bool:
        """Whether a check may get a value: one of the choices, or a value of this type and of no other."""
        if self.choices:
            return any(value is choice or (type(value) is type(choice) and value == choice) for choice in self.choices)
        if self.kind is float:
            return type(value) in {int, float} and math.isfinite(value)  # type: ignore[arg-type]
        return type(value) is self.kind

    def read(self, text: str) -> Any:
        """Return the value that a ruleset writes; raises ValueError with the rest of a sentence about it."""
        if self.kind is str:
            return text
        if self.kind is Pattern:
            return Pattern(text)
        values = {written(choice): choice for choice in self.choices or (True, False)}
        if self.choices or self.kind is bool:
            if text not in values:
                raise ValueError(f"it must be {self.words}")
            return values[text]
        return self._number(text)

    def _number(self, text: str) -> float:
        try:
            value, unit = parse(text)
            number = value if unit == self.unit else rounded(convert(value, unit, self.unit))
        except ValueError:
            raise ValueError(f"it must be {self.words}") from None
        if self.kind is int and not number.is_integer():
            raise ValueError(f"it must be {self.words}")
        return int(number) if self.kind is int else number


def written(value: Any) -> str:
    """Write the value of a parameter as a ruleset does."""
    value = value.value if isinstance(value, Enum) else value
    return str(value).lower() if isinstance(value, bool) else str(value)


def is_limit(info: FieldInfo) -> bool:
    """Whether a field of a check's Limits is a limit, which a ruleset may be free to leave out."""
    return _plain(info.annotation, ())[0] is Limit


def may_be_none(info: FieldInfo) -> bool:
    """Whether a field's type has None among its members, so that a ruleset may leave the parameter unset."""
    return NoneType in get_args(info.annotation)


def parameter_type(info: FieldInfo) -> ParameterType | None:
    """Return the type of a field of a check's Limits that is a parameter; None for a type that no ruleset can write."""
    return _type_of(info.annotation, tuple(info.metadata))


def _plain(annotation: Any, metadata: tuple[Any, ...]) -> tuple[Any, tuple[Any, ...]]:
    """Return the type inside Annotated, of a union with None the other type, and all that is annotated."""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _plain(args[0], (*metadata, *args[1:]))
    kinds = [kind for kind in args if kind is not NoneType]
    if origin in {Union, UnionType} and len(kinds) == 1:
        return _plain(kinds[0], metadata)
    return annotation, metadata


def _type_of(annotation: Any, metadata: tuple[Any, ...]) -> ParameterType | None:
    annotation, metadata = _plain(annotation, metadata)
    if get_origin(annotation) is Literal:
        return ParameterType(object, choices=get_args(annotation))
    if not isinstance(annotation, type):
        return None
    if issubclass(annotation, Enum):
        return ParameterType(annotation, choices=tuple(annotation))
    unit = next((part.name for part in metadata if isinstance(part, Unit)), "1")
    return ParameterType(annotation, unit) if annotation in {bool, int, float, str, Pattern} else None
