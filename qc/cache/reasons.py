"""Reasons in plain words: why a value is not stored, and why an analysis is measured although results are stored."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

import numpy as np

from qc.cache.codec import NUMBERS, NotStorableError, encode, is_only_fields
from qc.text.sanitize import shown

UNKNOWN = object()
"""In place of a type that is not clear; nothing is said about it."""
VERIFIED = "--verify measures everything again"
NEW_AUDIO = "this audio was not measured before"
OTHER_AUDIO = "the file changed"
NEW = "it was not measured of this audio before"
_CHANGED = {
    "format": "another version of sidegate stored it",
    "core": "sidegate itself, what it compiles with or the processor changed",
    "side": "the side has another name",
    "version": "its version changed",
    "parameters": "its parameters changed, as with another cutting chain",
    "taps": "its taps changed",
}
"""Part of a key -> what it means that this part is another one."""
_SOURCES, _DISTRIBUTION = "sources ", "distribution "


def changes(before: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """Return a clause for each part of a key that is not as before: "its version changed"."""
    return [_change(name) for name in (*now, *(before.keys() - now.keys())) if before.get(name) != now.get(name)]


def _change(name: str) -> str:
    if name.startswith(_SOURCES):
        return f"the source of {shown(name.removeprefix(_SOURCES))} changed"
    if name.startswith(_DISTRIBUTION):
        return f"the distribution that {shown(name.removeprefix(_DISTRIBUTION))} comes from changed"
    return _CHANGED.get(name, f"{name} changed")


def why_not_stored(kind: Any, value: Any, name: str) -> str:
    """Return why a value of a type cannot be encoded, with class and field; empty where it can. `name` is its own."""
    try:
        encode(kind, value)
    except NotStorableError:
        return next(_faults(kind, value, name), f"{name} does not fit its type {_named(kind)}")
    return ""


def _faults(kind: Any, value: Any, name: str) -> Iterator[str]:
    """Yield what cannot be stored in a value, the innermost first, in the order of the fields."""
    kind = _without_none(kind)
    if isinstance(value, np.ndarray):
        yield from _of_array(kind, value, name)
    elif type(value) is tuple:
        kinds = get_args(kind) if get_origin(kind) is tuple else ()
        each = kinds[:1] * len(value) if kinds[1:] == (Ellipsis,) else kinds
        for i, member in enumerate(value):
            yield from _faults(each[i] if i < len(each) else UNKNOWN, member, f"{name}[{i}]")
    elif is_dataclass(value) and not isinstance(value, type):
        yield from _of_dataclass(kind, value, name)
    elif type(value) not in {int, float, bool, str, bytes, type(None)} and not isinstance(value, np.generic):
        yield f"{name} holds a value of type {_named(type(value))}, a type that no store can write"
    elif isinstance(kind, type) and kind not in {Any, type(value)} and not isinstance(value, int | np.generic):
        yield f"{name} holds a value of type {_named(type(value))} where its type is {_named(kind)}"


def _of_dataclass(kind: Any, value: Any, name: str) -> Iterator[str]:
    own: Any = type(value)
    try:
        kinds = get_type_hints(own)
    except Exception:  # annotations of plugins may raise anything
        yield f"the types of the fields of {_named(own)} cannot be read"
        return
    for field in fields(value):
        yield from _faults(kinds.get(field.name, UNKNOWN), getattr(value, field.name), f"{_named(own)}.{field.name}")
    if not is_only_fields(own):
        yield f"{_named(own)} is more than its fields: it takes other arguments or has a __post_init__"
    if isinstance(kind, type) and kind is not own:
        more = [field.name for field in fields(value) if field.name not in getattr(kind, "__dataclass_fields__", ())]
        fields_too = f", with fields that it does not have: {', '.join(more)}" if more else ""
        yield f"{name} holds a {_named(own)} where its type is {_named(kind)}{fields_too}"


def _of_array(kind: Any, array: np.ndarray[Any, Any], name: str) -> Iterator[str]:
    if type(array) is not np.ndarray:
        yield f"{name} holds an array of the class {_named(type(array))}, and only numpy's own are stored"
    if array.dtype.names:
        yield f"{name} holds a structured array; store its columns as an array each"
    elif array.dtype.kind not in NUMBERS:
        yield f"{name} holds an array of dtype {array.dtype.name}, and only arrays of numbers are stored"
    elif not array.dtype.isnative:
        yield f"{name} holds an array in a byte order that is not the processor's"
    if not (array.flags.c_contiguous or array.flags.f_contiguous):
        yield f"{name} holds a part of another array that is not in one piece; copy it"
    if kind is UNKNOWN:
        return
    if get_origin(kind) is not np.ndarray:
        yield f"{name} holds an array where its type is {_named(kind)}; write NDArray[np.float64]"
        return
    shape, of = get_args(kind)
    wanted = (get_args(of) or (Any,))[0]
    if wanted is not array.dtype.type:
        yield f"{name} holds an array of {array.dtype.name} where its type is an array of {_named(wanted)}"
    elif (dimensions := get_args(shape)) and Ellipsis not in dimensions and len(dimensions) != array.ndim:
        yield f"{name} holds an array of {array.ndim} dimensions where its type has {len(dimensions)}"


def _without_none(kind: Any) -> Any:
    """Return the type of a union with None, UNKNOWN for any other union, else the type itself."""
    if get_origin(kind) not in {Union, UnionType}:
        return kind
    others = [member for member in get_args(kind) if member is not type(None)]
    return others[0] if len(others) == 1 else UNKNOWN


def _named(kind: Any) -> str:
    return shown(kind.__qualname__ if isinstance(kind, type) else str(kind))
