"""Why a result cannot be stored, in words: the class, the field, and what it holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.cache.codec import NotStorableError, encode
from qc.cache.reasons import changes, why_not_stored

Floats = NDArray[np.float64]


class OwnArray(np.ndarray):
    pass


@dataclass(frozen=True)
class Lines:
    seconds: Floats
    more: Any = None


@dataclass(frozen=True)
class MoreLines(Lines):
    name: str = ""


@dataclass(frozen=True)
class Page:
    lines: tuple[Lines, ...] = ()
    least: Floats | None = None


@dataclass
class Counting:
    count: int

    def __post_init__(self) -> None:
        self.more = self.count + 1


CASES = {
    "an array of objects": (
        NDArray[np.object_], np.array([{}]), "x holds an array of dtype object, and only arrays of numbers are stored",
    ),
    "a structured array": (
        Lines, Lines(np.zeros(2, "f8,i8")),
        "Lines.seconds holds a structured array; store its columns as an array each",
    ),
    "a subclass": (
        Page, Page((Lines(np.zeros(2)), Lines(np.zeros(2).view(OwnArray)))),
        "Lines.seconds holds an array of the class OwnArray, and only numpy's own are stored",
    ),
    "a part": (
        Page, Page(least=np.zeros(6)[::2]),
        "Page.least holds a part of another array that is not in one piece; copy it",
    ),
    "another number": (
        Lines, Lines(np.zeros(2, np.float32)),
        "Lines.seconds holds an array of float32 where its type is an array of float64",
    ),
    "more fields": (
        Lines, MoreLines(np.zeros(2)),
        "x holds a MoreLines where its type is Lines, with fields that it does not have: name",
    ),
    "more than fields": (
        Counting, Counting(1), "Counting is more than its fields: it takes other arguments or has a __post_init__",
    ),
    "a list": (list[float], [1.0], "x holds a value of type list, a type that no store can write"),
    "a text for a number": (float, "1", "x holds a value of type str where its type is float"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_what_cannot_be_stored_is_described_with_class_and_field(case):
    kind, value, words = CASES[case]
    with pytest.raises(NotStorableError):
        encode(kind, value)
    assert why_not_stored(kind, value, "x") == words


def test_what_can_be_stored_has_no_reason():
    assert why_not_stored(Page, Page(least=np.zeros(2)), "x") == ""


def test_the_parts_of_a_key_that_changed_are_named():
    before = {"core": "1", "version": "1", "sources house": "1", "distribution house": "1"}
    assert changes(before, before) == []
    assert changes(before, before | {"sources house": "2"}) == ["the source of house changed"]
    assert changes(before, before | {"version": "2", "distribution house": "2"}) == [
        "its version changed", "the distribution that house comes from changed",
    ]  # fmt: skip
