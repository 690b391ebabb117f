"""A value that is stored comes back as it was: the same types and the same bits; any other is not stored."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray

from qc.cache.codec import MisfitError, NotStorableError, alike, as_stored, decode, encode


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


NUMBERS = (
    np.bool_, np.int8, np.int16, np.int32, np.int64, np.uint8, np.uint16, np.uint32, np.uint64, np.float32, np.float64,
    np.complex64, np.complex128,
)  # fmt: skip
COUNTS = st.integers(-(2**63), 2**64 - 1)
FLOATS = st.floats()
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
    return decode(kind, *encode(kind, value))


@given(CURVES)
def test_a_result_comes_back_as_it_was(curve):
    same(there_and_back(Curve, curve), curve)


@given(st.sampled_from(NUMBERS).flatmap(lambda number: grids(np.dtype(number))))
def test_arrays_of_every_number_come_back(grid):
    same(there_and_back(NDArray[grid.dtype.type], grid), grid)


@pytest.mark.parametrize(
    ("kind", "value", "plain"),
    [
        (float, np.float64(0.1), 0.1), (float, np.float32(0.1), float(np.float32(0.1))), (float, 3, 3.0),
        (float, np.float64(-0.0), -0.0), (float, np.float64("nan"), math.nan), (float, np.float32("-inf"), -math.inf),
        (int, np.int64(-7), -7), (int, np.uint8(255), 255), (bool, np.bool_(1), True), (float | None, np.int16(2), 2.0),
    ],
)  # fmt: skip
def test_other_numbers_become_the_plain_ones_that_they_are(kind, value, plain):
    """In the run that measured them too, which so goes on with the same numbers as one that reads them."""
    same(there_and_back(kind, value), plain)
    same(as_stored(kind, value), plain)


def test_a_result_as_it_would_come_back_holds_the_same_arrays_closed_against_writing():
    values = np.zeros(3)
    kept = as_stored(tuple[float, NDArray[np.float64]], (np.float64(1.0), values))
    assert np.shares_memory(kept[1], values)
    assert type(kept[0]) is float
    with pytest.raises(ValueError, match="read-only"):
        values[0] = 1.0
    with pytest.raises(ValueError, match="cannot set WRITEABLE"):
        kept[1].flags.writeable = True


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
        (dict[str, float], {}), (list[float], [1.0]), (Any, object()), (object, 1), (set[int], {1}),
        (NDArray[Any], np.zeros(3)), (np.ndarray, np.zeros(3)), (NDArray[np.floating], np.zeros(3)),
        (NDArray[np.str_], np.array(["a"])), (NDArray[np.object_], np.array([{}])), (Point | Counted, Point(1.0, 1)),
        (Counted, Counted(1)), (Unknown, Unknown(1)), (complex, 1j),
    ],
)  # fmt: skip
def test_types_that_are_not_known_are_not_stored(kind, value):
    with pytest.raises(NotStorableError):
        encode(kind, value)


def test_a_type_may_hold_itself():
    same(there_and_back(Chained, Chained(Chained(None))), Chained(Chained(None)))


Rows = np.ndarray[tuple[int, int], np.dtype[np.float64]]


def test_an_array_must_have_the_dimensions_that_its_type_names():
    same(there_and_back(Rows, np.zeros((2, 3))), np.zeros((2, 3)))
    with pytest.raises(NotStorableError):
        encode(Rows, np.zeros(3))
    with pytest.raises(MisfitError):
        decode(Rows, encode(Rows, np.zeros((2, 3)))[0], [np.zeros(6)])


class Lower(str):
    __slots__ = ()


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (int, 1.0), (int, True), (bool, 1), (float, "1"), (float, True), (str, Lower("a")), (str, None),
        (tuple[int, int], (1,)), (tuple[int, ...], [1]), (NDArray[np.float64], np.zeros(3, np.float32)),
        (NDArray[np.float64], np.zeros(3, ">f8")), (NDArray[np.float64], np.zeros(6)[::2]),
        (NDArray[np.float64], np.zeros(3).view(Own)), (Literal["a"], "b"), (Literal[1], True), (int, np.float64(1.0)),
        (int, 2**64), (float, 2**53 + 1), (str, "\ud800"), (Point, Curve), (int, np.bool_(1)),
    ],
)  # fmt: skip
def test_values_that_are_not_of_their_type_are_not_stored(kind, value):
    """A subclass or another kind of number would come back as something else."""
    with pytest.raises(NotStorableError):
        encode(kind, value)


TREES = st.recursive(
    st.none() | st.booleans() | COUNTS | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text() | st.sampled_from(["at", "count"]), inner),
)


@given(
    TREES.map(msgspec.msgpack.encode) | st.binary(max_size=40),
    st.sampled_from([int, float, bool, str, type(None), Point, Curve, tuple[int, float], Literal["a"], Point | None]),
)
def test_nothing_that_is_read_makes_anything_but_the_type_that_is_wanted(written, kind):
    try:
        value = decode(kind, written, [])
    except MisfitError:
        return
    assert encode(kind, value) == (written, [])


@pytest.mark.parametrize(
    ("kind", "written", "arrays"),
    [
        (int, b"\x01", [np.zeros(2)]), (NDArray[np.float64], b"\x01", [np.zeros(2)]),
        (NDArray[np.float64], b"\x00", [np.zeros(2, np.float32)]), (NDArray[np.float64], b"\x00", [np.zeros(2)] * 2),
        (NDArray[np.float64], b"\x00", []), (NDArray[np.float64], b"\xff", [np.zeros(2)]), (float, b"\x01", []),
        (tuple[NDArray[np.float64], NDArray[np.float64]], b"\x92\x01\x00", [np.zeros(2), np.zeros(2)]),
        (Point, msgspec.msgpack.encode({"at": 1.0, "count": 2}), []),
        (Point, msgspec.msgpack.encode({"at": 1.0, "count": 2, "name": "", "more": 1}), []),
        (int, b"\x01\x01", []), (tuple[int, ...], b"\xdd\x7f\xff\xff\xff", []),
    ],
)  # fmt: skip
def test_what_is_read_must_be_what_writing_gives(kind, written, arrays):
    """A missing field is not filled in, a further one not passed over, and every array is used once, in its order."""
    with pytest.raises(MisfitError):
        decode(kind, written, arrays)


@given(CURVES, CURVES)
def test_values_are_alike_when_they_are_written_alike(one, other):
    """NaN is like NaN and -0.0 unlike 0.0, in arrays too."""
    assert alike(one, one)
    (text, arrays), (other_text, other_arrays) = encode(Curve, one), encode(Curve, other)
    forms = [
        [
            (array.dtype, array.shape, array.flags.c_contiguous, array.flags.f_contiguous, array.tobytes())
            for array in of
        ]
        for of in (arrays, other_arrays)
    ]
    assert alike(one, other) == ((text, forms[0]) == (other_text, forms[1]))
