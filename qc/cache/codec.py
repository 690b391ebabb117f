"""Values turned into MessagePack and plain arrays, and back, along the types that the running code names.

msgspec checks what it reads against the type that is wanted: what a file says never chooses a type, it only fills one
in. An array is written as its number among the arrays, and its kind of number and dimensions must be those of its type.
"""

from __future__ import annotations

import inspect
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, get_args, get_origin

import msgspec
import numpy as np
from numpy.typing import NDArray

from qc.dsp.samples.closed import closed

Array = NDArray[Any]
NUMBERS = "biufc"
"""Kinds of numbers that an array may hold, by numpy's letters."""


class NotStorableError(Exception):
    """A type or a value that is not stored."""


class MisfitError(ValueError):
    """A stored value that does not fit the type that is wanted."""


def encode(kind: Any, value: Any) -> tuple[bytes, list[Array]]:
    """Return a value of a type as MessagePack and its arrays; raises NotStorableError unless it would come back.

    Numbers of numpy's, and integers where the type names a float, become the plain numbers that they are.
    """
    try:
        written, arrays = _written(value)
        plain = _read(kind, written, arrays)
        if alike(value, plain):
            return _written(plain)
    except Exception as error:  # values and annotations of plugins may raise anything
        raise NotStorableError(f"{kind}: {error}") from None
    raise NotStorableError(f"{kind}: a value of this type would come back as another one")


def as_stored(kind: Any, value: Any) -> Any:
    """Return a value of a type as it would come back, its arrays closed against writing; raises NotStorableError."""
    written, arrays = encode(kind, value)
    for array in arrays:
        array.flags.writeable = False
    return _read(kind, written, [closed(array) for array in arrays])


def decode(kind: Any, written: bytes, arrays: Sequence[Array]) -> Any:
    """Return a value of a type; raises MisfitError unless writing it again gives the very same."""
    try:
        value = _read(kind, written, arrays)
        again, used = _written(value)
    except Exception as error:  # the type may be any of a plugin's
        raise MisfitError(str(error)) from None
    if again != written or list(map(id, used)) != list(map(id, arrays)):
        raise MisfitError("more or less was stored than the type holds")
    return value


def alike(value: Any, other: Any) -> bool:
    """Whether two values have the same types and are equal to the bit; a number equals any type of number."""
    if isinstance(value, int | float | np.generic) and isinstance(other, int | float | np.generic):
        one, another = (number.item() if isinstance(number, np.generic) else number for number in (value, other))
        return repr(one) == repr(another) or ({type(one), type(another)} == {int, float} and one == another)
    if type(value) is not type(other):
        return False
    if type(value) is tuple:
        return len(value) == len(other) and all(map(alike, value, other))
    if type(value) is np.ndarray:
        return value is other or (_form(value) == _form(other) and value.tobytes() == other.tobytes())
    if is_dataclass(value) and not isinstance(value, type):
        return is_only_fields(type(value)) and all(
            alike(getattr(value, field.name), getattr(other, field.name)) for field in fields(value)
        )
    return type(value) in {str, bytes, type(None)} and value == other


def _written(value: Any) -> tuple[bytes, list[Array]]:
    arrays: list[Array] = []

    def plain(value: Any) -> int | float | bool:
        if isinstance(value, np.generic):
            return value.item()
        if type(value) is not np.ndarray or not (value.flags.c_contiguous or value.flags.f_contiguous):
            raise NotStorableError(f"a {type(value).__name__}, or an array that is not in one piece")
        arrays.append(value)
        return len(arrays) - 1

    return msgspec.msgpack.encode(value, enc_hook=plain), arrays


def _read(kind: Any, written: bytes, arrays: Sequence[Array]) -> Any:
    def array(wanted: Any, number: Any) -> Array:
        if get_origin(wanted) is not np.ndarray or type(number) is not int or not 0 <= number < len(arrays):
            raise MisfitError
        dimensions, (of,) = get_args(get_args(wanted)[0]), get_args(get_args(wanted)[1])
        found = arrays[number]
        if found.dtype.type is not of or found.dtype.kind not in NUMBERS or not found.dtype.isnative:
            raise MisfitError
        if dimensions and Ellipsis not in dimensions and len(dimensions) != found.ndim:
            raise MisfitError
        return found

    return msgspec.msgpack.decode(written, type=kind, dec_hook=array)


def _form(array: Array) -> tuple[Any, ...]:
    return array.dtype, array.shape, array.flags.c_contiguous, array.flags.f_contiguous


@cache
def is_only_fields(kind: type) -> bool:
    """Whether a dataclass is nothing but its fields, so that they make it again."""
    names = [field.name for field in fields(kind)]
    return list(inspect.signature(kind).parameters) == names and not hasattr(kind, "__post_init__")
