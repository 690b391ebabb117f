"""What is stored comes back as it was: the same types, the same bits, and nothing that may be written to."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray

from qc.cache.codec import NUMBERS, MisfitError, UnknownFormError, form_of


@dataclass(frozen=True, slots=True)
class Point:
    at: float
    count: int
    name: str = ""


@dataclass(frozen=True, eq=False)
class Curve:
    points: tuple[Point, ...]
    pair: tuple[Point | None, bool]
    way: Literal["up", "down", 3]
    values: NDArray[np.float64]
    mask: NDArray[np.bool_]
    few: NDArray[np.float32] | None
    nothing: None = None


FLOATS = st.one_of(st.floats(), st.integers(), st.floats(width=32).map(np.float32), st.floats().map(np.float64))
COUNTS = st.one_of(st.integers(), st.integers(-(2**63), 2**63 - 1).map(np.int64), st.integers(0, 255).map(np.uint8))
POINTS = st.builds(Point, FLOATS, COUNTS, st.text())


def grids(kind):
    shapes = arrays.array_shapes(min_dims=0, max_dims=4, min_side=0, max_side=5)
    plain = arrays.arrays(kind, shapes)
    return st.one_of(plain, plain.map(np.asfortranarray))


CURVES = st.builds(
    Curve, st.lists(POINTS).map(tuple), st.tuples(st.none() | POINTS, st.booleans()),
    st.sampled_from(["up", "down", 3]), grids(np.float64), grids(np.bool_), st.none() | grids(np.float32),
)  # fmt: skip


def same(one, other):
    """Alike in type, in every bit, and in how arrays lie."""
    assert type(one) is type(other)
    if isinstance(one, np.ndarray):
        assert (one.dtype, one.shape) == (other.dtype, other.shape)
        assert (one.flags.c_contiguous, one.flags.f_contiguous) == (other.flags.c_contiguous, other.flags.f_contiguous)
        assert one.tobytes() == other.tobytes()
    elif is_dataclass(one):
        for field in fields(one):
            same(getattr(one, field.name), getattr(other, field.name))
    elif isinstance(one, tuple):
        assert len(one) == len(other)
        for a, b in zip(one, other, strict=True):
            same(a, b)
    elif isinstance(one, float | np.floating) and math.isnan(one):
        assert math.isnan(other)
    else:
        assert one == other
        assert not isinstance(one, float) or math.copysign(1.0, one) == math.copysign(1.0, other)


def there_and_back(kind, value):
    held = []
    tree = form_of(kind).put(value, held)
    return form_of(kind).take(json.loads(json.dumps(tree)), held)


@given(CURVES)
def test_a_result_comes_back_as_it_was(curve):
    same(there_and_back(Curve, curve), curve)


@given(st.sampled_from(sorted(set(NUMBERS) - {"complex64", "complex128"})).flatmap(lambda n: grids(np.dtype(n))))
def test_arrays_of_every_number_come_back(grid):
    same(there_and_back(NDArray[grid.dtype.type], grid), grid)


@dataclass
class Counted:
    count: int

    def __post_init__(self) -> None:
        self.more = self.count + 1


@dataclass
class Chained:
    following: Chained | None


@dataclass
class Unknown:
    what: "NoSuchName"  # noqa: F821, UP037


class Own(np.ndarray):
    pass


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (dict[str, float], {}), (list[float], [1.0]), (Any, 1.0), (object, 1), (bytes, b""),
        (NDArray[Any], np.zeros(3)), (np.ndarray, np.zeros(3)), (NDArray[np.floating], np.zeros(3)),
        (NDArray[np.str_], np.array(["a"])),
        (NDArray[np.object_], np.array([{}])), (int | str, 1), (Counted, Counted(1)), (Chained, Chained(None)),
        (Unknown, Unknown(1)),
    ],
)  # fmt: skip
def test_types_that_are_not_known_are_not_stored(kind, value):
    with pytest.raises(UnknownFormError):
        form_of(kind).put(value, [])


class Lower(str):
    __slots__ = ()


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (int, 1.0), (int, True), (bool, 1), (float, "1"), (float, True), (str, Lower("a")), (str, None),
        (tuple[int, int], (1,)), (tuple[int, ...], [1]), (NDArray[np.float64], np.zeros(3, np.float32)),
        (NDArray[np.float64], np.zeros(3, ">f8")), (NDArray[np.float64], np.zeros(6)[::2]),
        (NDArray[np.float64], np.zeros(3).view(Own)), (Literal["a"], "b"), (Literal[1], True), (int, np.float64(1.0)),
    ],
)  # fmt: skip
def test_values_that_are_not_of_their_type_are_not_stored(kind, value):
    """A subclass or another kind of number would come back as something else."""
    with pytest.raises(UnknownFormError):
        form_of(kind).put(value, [])


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(), lambda inner: st.lists(inner, max_size=5)
)


@given(
    JSON,
    st.sampled_from([int, float, bool, str, type(None), Point, Curve, tuple[int, float], Literal["a"], Point | None]),
)
def test_no_tree_makes_anything_but_the_type_that_is_wanted(tree, kind):
    try:
        value = form_of(kind).take(tree, [np.zeros(2)])
    except MisfitError:
        return
    held: list[Any] = []
    form_of(kind).put(value, held)
