"""Results turned into plain JSON and raw arrays, and back, along the types that the running code names.

Known are numbers, text, booleans, None, tuples, arrays of one kind of number, and dataclasses made of these; a result
of any other type is not stored. What a file says never chooses a type: it only fills one in, or does not fit.
"""

from __future__ import annotations

import inspect
import types
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
Tree = Any
"""What JSON can hold; an array is its number among the arrays."""

NUMBERS: Mapping[str, np.dtype[Any]] = {
    name: np.dtype(name)
    for name in ("bool", "int8", "int16", "int32", "int64", "uint8", "uint16", "uint32", "uint64", "float32", "float64",
                 "complex64", "complex128")
}  # fmt: skip
"""Kinds of number that an array, or a number from one, may hold."""
_SCALARS: Mapping[type, str] = {bool: "b", int: "iu", float: "iuf"}
"""Plain type -> the kinds of numpy's numbers that stand for it."""


class UnknownFormError(Exception):
    """A type or a value that is not stored."""


class MisfitError(Exception):
    """What was stored does not fit the type that is wanted."""


class Form(ABC):
    """How values of one type are stored."""

    @abstractmethod
    def put(self, value: Any, arrays: list[Array]) -> Tree:
        """Turn a value into a tree, its arrays into `arrays`; raises UnknownFormError."""

    @abstractmethod
    def take(self, tree: Tree, arrays: Sequence[Array]) -> Any:
        """Turn a tree back; raises MisfitError."""


@dataclass(frozen=True)
class _Plain(Form):
    """A number, text, boolean or None; a number of numpy's stays one."""

    kind: type

    def put(self, value: Any, arrays: list[Array]) -> Tree:  # noqa: ARG002
        if isinstance(value, np.generic) and value.dtype.name in NUMBERS:
            if value.dtype.kind in _SCALARS.get(self.kind, ""):
                return [value.dtype.name, value.item()]
        elif type(value) is self.kind or (self.kind is float and type(value) is int):
            return value
        raise UnknownFormError(f"a {type(value).__name__} where a {self.kind.__name__} should be")

    def take(self, tree: Tree, arrays: Sequence[Array]) -> Any:  # noqa: ARG002
        if type(tree) is self.kind or (self.kind is float and type(tree) is int):
            return tree
        if type(tree) is list and len(tree) == 2 and type(tree[0]) is str and tree[0] in NUMBERS:
            number, kind = tree[1], NUMBERS[tree[0]]
            plain = {"b": bool, "i": int, "u": int, "f": float}.get(kind.kind)
            if kind.kind in _SCALARS.get(self.kind, "") and type(number) is plain:
                return kind.type(number)
        raise MisfitError


@dataclass(frozen=True)
class _OneOf(Form):
    """One of some texts or numbers."""

    values: tuple[Any, ...]

    def put(self, value: Any, arrays: list[Array]) -> Tree:  # noqa: ARG002
        for k, one in enumerate(self.values):
            if type(one) is type(value) and one == value:
                return k
        raise UnknownFormError(f"{value!r} is none of its type's values")

    def take(self, tree: Tree, arrays: Sequence[Array]) -> Any:  # noqa: ARG002
        if type(tree) is int and 0 <= tree < len(self.values):
            return self.values[tree]
        raise MisfitError


@dataclass(frozen=True)
class _Maybe(Form):
    """A value or None; one that is there stands in a list, so that a None of its own is told apart."""

    form: Form

    def put(self, value: Any, arrays: list[Array]) -> Tree:
        return None if value is None else [self.form.put(value, arrays)]

    def take(self, tree: Tree, arrays: Sequence[Array]) -> Any:
        if tree is None:
            return None
        if type(tree) is list and len(tree) == 1:
            return self.form.take(tree[0], arrays)
        raise MisfitError


@dataclass(frozen=True)
class _Row(Form):
    """A tuple: of these forms, or of any number of one."""

    forms: tuple[Form, ...]
    many: bool = False

    def put(self, value: Any, arrays: list[Array]) -> Tree:
        if type(value) is not tuple or not (self.many or len(value) == len(self.forms)):
            raise UnknownFormError(f"a {type(value).__name__} where a tuple should be")
        return [form.put(one, arrays) for form, one in self._pairs(value)]

    def take(self, tree: Tree, arrays: Sequence[Array]) -> Any:
        if type(tree) is not list or not (self.many or len(tree) == len(self.forms)):
            raise MisfitError
        return tuple(form.take(one, arrays) for form, one in self._pairs(tree))

    def _pairs(self, values: Sequence[Any]) -> zip[tuple[Form, Any]]:
        return zip(self.forms * len(values) if self.many else self.forms, values, strict=True)


@dataclass(frozen=True)
class _Grid(Form):
    """An array of one kind of number and any shape, in one piece."""

    kind: np.dtype[Any]

    def put(self, value: Any, arrays: list[Array]) -> Tree:
        if type(value) is not np.ndarray or value.dtype != self.kind or not value.dtype.isnative:
            raise UnknownFormError(f"a {type(value).__name__} where an array of {self.kind} should be")
        if not (value.flags.c_contiguous or value.flags.f_contiguous):
            raise UnknownFormError("an array that is not in one piece")
        arrays.append(value)
        return len(arrays) - 1

    def take(self, tree: Tree, arrays: Sequence[Array]) -> Any:
        if type(tree) is not int or not 0 <= tree < len(arrays) or arrays[tree].dtype != self.kind:
            raise MisfitError
        return arrays[tree]


@dataclass(frozen=True)
class _Record(Form):
    """A dataclass that is nothing but its fields."""

    kind: type
    forms: Mapping[str, Form]

    def put(self, value: Any, arrays: list[Array]) -> Tree:
        if type(value) is not self.kind:
            raise UnknownFormError(f"a {type(value).__name__} where a {self.kind.__name__} should be")
        return [form.put(getattr(value, name), arrays) for name, form in self.forms.items()]

    def take(self, tree: Tree, arrays: Sequence[Array]) -> Any:
        if type(tree) is not list or len(tree) != len(self.forms):
            raise MisfitError
        held = zip(self.forms.items(), tree, strict=True)
        return self.kind(**{name: form.take(one, arrays) for (name, form), one in held})


def form_of(kind: Any) -> Form:
    """Give how values of a type are stored; raises UnknownFormError."""
    try:
        return _form(kind)
    except UnknownFormError:
        raise
    except Exception as why:  # hints of a plugin's class may name anything
        raise UnknownFormError(f"{kind}: {why}") from None


@cache
def _form(kind: Any) -> Form:
    if isinstance(kind, type) and is_dataclass(kind):
        return _record(kind)
    if kind in {bool, int, float, str, type(None), None}:
        return _Plain(kind or type(None))
    return _made_of(get_origin(kind), get_args(kind))


def _made_of(origin: Any, inside: tuple[Any, ...]) -> Form:
    if origin is np.ndarray:
        return _grid(inside)
    if origin is tuple and len(inside) == 2 and inside[1] is Ellipsis:
        return _Row((_form(inside[0]),), many=True)
    if origin is tuple:
        return _Row(tuple(_form(one) for one in inside))
    if origin is Literal:
        return _OneOf(inside)
    if origin in {Union, types.UnionType} and len(inside) == 2 and type(None) in inside:
        (there,) = (one for one in inside if one is not type(None))
        return _Maybe(_form(there))
    raise UnknownFormError("values of this type are not stored")


def _grid(inside: tuple[Any, ...]) -> Form:
    (number,) = get_args(inside[1])
    for one in NUMBERS.values():
        if one.type is number:
            return _Grid(one)
    raise UnknownFormError(f"arrays of {number} are not stored")


def _record(kind: type) -> Form:
    names = [one.name for one in fields(kind) if one.init]
    whole = len(names) == len(fields(kind)) and list(inspect.signature(kind).parameters) == names
    if not whole or hasattr(kind, "__post_init__"):
        raise UnknownFormError(f"{kind.__name__} is more than its fields")
    hints = get_type_hints(kind)
    return _Record(kind, {name: _form(hints[name]) for name in names})
