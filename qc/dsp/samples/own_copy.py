"""Copies of a result for each of its readers, so that what one of them writes is seen by no other.

Arrays are not copied: each reader has a view of the same memory that cannot be opened for writing. What holds arrays
or can be changed by itself is built again around them; what nothing can change is shared.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import is_dataclass
from enum import Enum
from functools import cache, cached_property
from types import MappingProxyType
from typing import Any, TypeVar, cast

import numpy as np

from qc.dsp.samples.closed import closed

K = TypeVar("K")
V = TypeVar("V")
T = TypeVar("T")

HEAP_TYPE = 1 << 9
"""Flag of a class that was written in Python."""
ATOMS = frozenset({type(None), bool, int, float, complex, str, bytes, range, slice, type(...), type(NotImplemented)})


def own_copy(value: T) -> T:
    """Return a value for one reader, which shares no memory that can be written with that of any other.

    It runs no code of the value's class, but for objects that are none of: numbers, text, arrays of numbers, tuples,
    lists, sets, mappings, dataclasses and plain objects of Python. Those are copied by `copy.deepcopy`, and shared
    where even that cannot copy them.
    """
    try:
        return cast("T", _own(value))
    except RecursionError:  # it refers to itself
        return cast("T", _deep(value))


class OwnCopies(Mapping[K, V]):
    """The values of a mapping for one reader, each copied when it is first read."""

    def __init__(self, values: Mapping[K, V]) -> None:
        self._values = values
        self._own: dict[K, V] = {}

    def __getitem__(self, key: K) -> V:
        """Return the reader's copy of a value."""
        if key not in self._own:
            self._own[key] = own_copy(self._values[key])
        return self._own[key]

    def __iter__(self) -> Iterator[K]:
        """Iterate over the keys."""
        return iter(self._values)

    def __len__(self) -> int:
        """Return the number of values."""
        return len(self._values)


def _own(value: Any) -> Any:  # noqa: PLR0911 - one return for each kind of value
    kind: Any = type(value)
    if kind in ATOMS or issubclass(kind, np.generic | Enum | type):
        return value
    if kind is np.ndarray:
        return closed(value) if value.dtype.kind in "?biufc" else _deep(value)
    if issubclass(kind, tuple):
        items = [_own(item) for item in tuple.__iter__(value)]
        return value if _are_same(items, tuple.__iter__(value)) else tuple.__new__(kind, items)
    if kind is list:
        return [_own(item) for item in value]
    if kind is dict:
        return {_own(key): _own(item) for key, item in value.items()}
    if kind is MappingProxyType:
        return MappingProxyType({_own(key): _own(item) for key, item in value.items()})
    if kind in (set, frozenset):
        return kind(map(_own, value))
    return _object(value) if _is_plain(kind) else _deep(value)


def _object(value: Any) -> Any:
    """Return a copy of an object that consists of its attributes; itself where none of them can be changed."""
    kind: Any = type(value)
    before = {name: found for name in _slots(kind) if (found := _attribute(value, name)) is not _ABSENT}
    named = object.__getattribute__(value, "__dict__") if kind.__dictoffset__ else {}
    own, own_named = ({name: _own(item) for name, item in part.items()} for part in (before, named))
    if _is_fixed(kind) and _are_same(own.values(), before.values()) and _are_same(own_named.values(), named.values()):
        return value
    copied = object.__new__(kind)
    for name, item in own.items():
        object.__setattr__(copied, name, item)
    if kind.__dictoffset__:
        object.__getattribute__(copied, "__dict__").update(own_named)
    return copied


_ABSENT = object()


def _attribute(value: Any, name: str) -> Any:
    try:
        return object.__getattribute__(value, name)
    except AttributeError:  # a slot that was never filled
        return _ABSENT


@cache
def _slots(kind: type) -> tuple[str, ...]:
    """Return the attributes of a class that are in no `__dict__`."""
    names: list[str] = []
    for base in kind.__mro__:
        slots = base.__dict__.get("__slots__", ())
        for name in (slots,) if isinstance(slots, str) else slots:
            private = name.startswith("__") and not name.endswith("__")
            names.append(f"_{base.__name__.lstrip('_')}{name}" if private else name)
    return tuple(name for name in names if name not in {"__dict__", "__weakref__"})


@cache
def _is_plain(kind: type) -> bool:
    """Whether objects of a class are nothing but their attributes: neither it nor what it derives from is compiled."""
    made_by: Any = kind.__new__
    if made_by is not object.__new__ or not all(base.__flags__ & HEAP_TYPE for base in kind.__mro__[:-1]):
        return False
    try:
        object.__new__(kind)
    except TypeError:
        return False
    return True


@cache
def _is_fixed(kind: type) -> bool:
    """Whether the attributes of a class cannot be set, and none is computed later: a frozen dataclass or model."""
    if any(isinstance(item, cached_property) for base in kind.__mro__ for item in base.__dict__.values()):
        return False
    parameters = getattr(kind, "__dataclass_params__", None)
    settings = getattr(kind, "model_config", None)
    if is_dataclass(kind):
        return bool(getattr(parameters, "frozen", False))
    return isinstance(settings, dict) and bool(settings.get("frozen"))


def _are_same(items: Any, others: Any) -> bool:
    return all(item is other for item, other in zip(items, others, strict=True))


def _deep(value: Any) -> Any:
    try:
        return copy.deepcopy(value)
    except Exception:  # an object that cannot be copied, or code of its class
        return value
