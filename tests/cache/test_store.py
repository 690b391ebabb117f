"""What the store does by itself: results closed as those that are read are, keys that tell needs apart."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from qc.cache.codec import NotStorableError
from qc.cache.keys import Sound, key_of, parameters, result_of
from qc.cache.store import seal
from qc.groove.signal.sector_envelopes import Sectors
from qc.groove.signal.wall_motion import Motion
from qc.model.cutting_chain import Signal
from qc.plugin_api import Analysis, Stream

SOUND = Sound(Stream("side:A", 48_000, 2, 96_000), (("a" * 64, 0, 96_000),))


@dataclass(frozen=True, eq=False)
class Grids:
    one: NDArray[np.float64]
    pair: tuple[NDArray[np.int64], float]


@dataclass(frozen=True)
class Drawing(Analysis[Grids]):
    size: Any = 1
    id: ClassVar[str] = "house.drawing"

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls()

    def start(self, stream):
        raise NotImplementedError


@dataclass(frozen=True)
class Renamed(Drawing):
    id: ClassVar[str] = "house.renamed"


@dataclass(frozen=True)
class Tapped(Drawing):
    def taps(self):
        return (Motion(Signal(top=self.size)),)


@dataclass(frozen=True)
class Broken(Drawing):
    def taps(self):
        raise RuntimeError("no")


@dataclass(frozen=True)
class Untyped(Analysis):
    pass


def test_results_are_closed_against_writing():
    grids = Grids(np.zeros(2), (np.zeros(2, np.int64), 0.0))
    closed = seal({Drawing(): grids})[Drawing()]
    for array in (grids.one, grids.pair[0], closed.one):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_a_result_that_is_not_stored_stays_as_it_is():
    result = object()
    assert seal({Drawing(): result}) == {Drawing(): result}


def test_a_class_names_the_type_of_what_it_finds():
    assert result_of(Renamed) is Grids
    with pytest.raises(NotStorableError):
        result_of(Untyped)


def test_everything_a_result_depends_on_makes_another_key():
    other = Stream("side:B", 48_000, 2, 96_000)
    sounds = [
        SOUND, Sound(SOUND.stream, (("b" * 64, 0, 96_000),)), Sound(other, SOUND.files),
        Sound(SOUND.stream, (("a" * 64, 0, 48_000), ("a" * 64, 48_000, 48_000))),
    ]  # fmt: skip
    needs = [
        Drawing(), Drawing(1.0), Drawing(True), Drawing("1"), Drawing((1,)), Renamed(), Tapped(10.0), Tapped(11.0),
        Sectors(Signal()), Sectors(Signal(top=10.0)),
    ]  # fmt: skip
    keys = {key_of(need, sound, versions) for need in needs for sound in sounds for versions in ({}, {"stored": "2"})}
    apart = {key_of(Drawing(), SOUND, {package: "2"}) for package in ("qc", "house")}
    assert len(keys) >= len(needs) * len(sounds)
    assert len(apart) == 1
    assert key_of(Drawing(), SOUND, {}) == key_of(Drawing(), SOUND, {})


@pytest.mark.parametrize("need", [Drawing([1]), Drawing(object()), Drawing(np.zeros(2)), Broken()])
def test_what_cannot_be_written_down_has_no_key(need):
    with pytest.raises(NotStorableError):
        key_of(need, SOUND, {})


PLAIN = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text()
VALUES = st.recursive(PLAIN, lambda inner: st.lists(inner, max_size=4).map(tuple))


def alike(one, other):
    if type(one) is tuple:
        return type(other) is tuple and len(one) == len(other) and all(map(alike, one, other))
    return type(one) is type(other) and repr(one) == repr(other)


@given(VALUES, VALUES)
def test_parameters_are_written_alike_when_they_are_and_only_then(one, other):
    assert (json.dumps(parameters(one)) == json.dumps(parameters(other))) == alike(one, other)
