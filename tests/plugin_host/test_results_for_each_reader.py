"""Results of measurements of any shape: whatever one reader writes there, every other one reads what was measured."""

from __future__ import annotations

import contextlib
import threading
from collections import defaultdict
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from qc import AsReceived, GrooveAt, api
from qc.dsp.samples.own_copy import own_copy
from qc.groove.signal.programme import Programme
from qc.plugin_api import Analysis, Check, Derived, Judged, Limit, Model, Quantity
from qc.plugin_api.groove_model import AsCut
from support.houses import Houses
from support.plugins import hosted, plugin

Array = NDArray[np.float64]


class Named(NamedTuple):
    rows: Array
    name: str


@dataclass(frozen=True)
class Frozen:
    rows: Array

    @cached_property
    def total(self):
        return self.rows + 1.0


@dataclass(frozen=True, slots=True)
class Slotted:
    rows: Array
    name: str


@dataclass
class Loose:
    rows: Array
    parts: list[int]


class Plain:
    def __init__(self, rows):
        self.rows, self.parts = rows, [1, 2]


class Frame(np.ndarray):
    """An array of a class of its own."""


SHAPES: dict[str, tuple[Any, Any]] = {
    "array": (Array, lambda rows: rows),
    "view": (Any, lambda rows: np.vstack([rows, rows]).T[1:]),
    "tuple": (tuple[Array, ...], lambda rows: (rows, 2.0 * rows)),
    "named tuple": (Named, lambda rows: Named(rows, "it")),
    "frozen dataclass": (Frozen, Frozen),
    "dataclass with slots": (Slotted, lambda rows: Slotted(rows, "it")),
    "dataclass": (Loose, lambda rows: Loose(rows, [1, 2])),
    "list": (Any, lambda rows: [rows, 3]),
    "set": (Any, lambda rows: {float(rows[0]), 3.0}),
    "dict": (dict[str, Array], lambda rows: {"rows": rows, "more": {"rows": 2.0 * rows}}),
    "mapping proxy": (Any, lambda rows: MappingProxyType({"rows": rows})),
    "defaultdict": (Any, lambda rows: defaultdict(list, {"rows": [rows]})),
    "nested": (Any, lambda rows: ({"a": (Slotted(rows, "it"), Named(rows, "it"))}, [Frozen(rows)])),
    "plain object": (Any, Plain),
    "objects": (Any, lambda rows: np.array([[1, 2], rows], dtype=object)),
    "class of arrays": (Any, lambda rows: rows.view(Frame)),
    "quantity": (Any, lambda rows: Quantity(value=float(rows[1]), unit="1")),
}


def spoil(value):
    """Write to a value, and to all that it consists of, wherever that is possible."""
    if isinstance(value, np.ndarray):
        for array in (value, value.base):
            for attribute, new in (("writeable", True), ("shape", (-1,)), ("dtype", "int8")):
                with contextlib.suppress(Exception):
                    setattr(array.flags if attribute == "writeable" else array, attribute, new)
            with contextlib.suppress(Exception):
                array[...] = 7
        return
    parts = value.values() if hasattr(value, "values") else value if isinstance(value, tuple | list) else ()
    for part in [*parts, *getattr(value, "__dict__", {}).values()]:
        spoil(part)
    if is_dataclass(value):
        for field in fields(value):
            spoil(getattr(value, field.name))
    with contextlib.suppress(Exception):
        value.clear()
    for name in ("rows", "name", "parts", "value"):
        with contextlib.suppress(Exception):
            setattr(value, name, "spoilt")


def plainly(value):
    """A value in text, and all that it consists of."""
    if isinstance(value, np.ndarray):
        return f"{type(value).__name__}{value.shape}{value.dtype}{[plainly(part) for part in value.ravel()]}"
    if isinstance(value, dict | MappingProxyType):
        return f"{type(value).__name__}{ {key: plainly(part) for key, part in value.items()} }"
    if isinstance(value, tuple | list):
        return f"{type(value).__name__}{[plainly(part) for part in value]}"
    if is_dataclass(value):
        return f"{type(value).__name__}{[plainly(getattr(value, field.name)) for field in fields(value)]}"
    return (
        f"{type(value).__name__}{[plainly(part) for part in vars(value).values()]}"
        if isinstance(value, Plain)
        else repr(value)
    )


ROWS = np.array([0.0, 1.0, 2.0])


@pytest.mark.parametrize("shape", SHAPES)
def test_a_copy_for_one_reader_is_like_the_result_and_keeps_what_is_written_to_itself(shape):
    result = SHAPES[shape][1](ROWS.copy())
    before = plainly(result)
    copied = own_copy(result)
    assert (type(copied), plainly(copied)) == (type(result), before)
    spoil(copied)
    assert plainly(result) == before
    assert plainly(own_copy(result)) == before


def test_what_nothing_can_change_and_what_cannot_be_copied_is_shared():
    for value in (None, "text", (1, (2.0, "x")), Judged("x", "<="), threading.Lock()):
        assert own_copy(value) is value


def test_a_result_that_refers_to_itself_is_copied():
    value: list[Any] = [1]
    value.append(value)
    copied = own_copy(value)
    assert copied is not value
    assert copied[1] is copied


# -- in a run --------------------------------------------------------------------------------------------------


def analysis_of(shape):
    annotation, built = SHAPES[shape]

    class Running:
        def push(self, block):
            pass

        def finish(self):
            return built(ROWS.copy())

    @dataclass(frozen=True)
    class Measured(Analysis[annotation]):  # type: ignore[valid-type]
        id: ClassVar[str] = f"house.{shape.replace(' ', '-')}"

        @classmethod
        def of(cls, chain):  # noqa: ARG003
            return cls()

        def start(self, stream):
            return Running()

    return Measured


def derived_of(shape, need, writes):
    """A need that returns what it read; one that `writes` spoils that first, and returns nothing."""

    @dataclass(frozen=True)
    class Taken(Derived[Any]):
        id: ClassVar[str] = f"house.{'a-writer' if writes else 'taken'}-{shape.replace(' ', '-')}"

        @classmethod
        def of(cls, chain):  # noqa: ARG003
            return cls()

        def needs(self):
            return (need(),)

        def work(self, measured):
            result = measured[need()]
            if not writes:
                return result
            with contextlib.suppress(Exception):
                measured.results.clear()
            return spoil(result)

    return Taken


class Most(Model):
    most: Limit


def check_of(check_id, read, does):
    class Reads(Check[Most]):
        id = check_id
        title = why = how = remedy = "It is read."
        Limits = Most
        needs = read

        def evaluate(self, ctx):
            for need in read:
                does(ctx, need)
            return ()

    return Reads


ANALYSES = {shape: analysis_of(shape) for shape in SHAPES}
TAKEN = [derived_of(shape, need, writes=False) for shape, need in ANALYSES.items()]
WRITERS = [derived_of(shape, need, writes=True) for shape, need in ANALYSES.items()]
READ = (*ANALYSES.values(), *TAKEN, Programme)


def notes(ctx, need):
    result = ctx[need]
    ctx.note(plainly(result.programme if need is Programme else result))


def writes(ctx, need):
    result = ctx[need]
    spoil(result)
    for name in ("power", "programme"):
        spoil(getattr(result, name, None))


def writes_to_the_groove(ctx, need):
    if need is AsCut:
        worked = ctx[need]
        for array in (worked.cutting.spiral_path.radius, worked.cutting.top_width, worked.search.side.envelopes):
            spoil(array)
        spoil(worked.playback)
        worked.by_limit.clear()
    writes(ctx, need)
    spoil(ctx.measured("groove.travel"))


@pytest.fixture(scope="module")
def judged(delivery, tmp_path_factory):
    """Runs with checks that write, and without them; `stored` takes the measurements from the store."""
    folder = tmp_path_factory.mktemp("results")
    entry = '{most: {warn: 1, source: "house: desk notes"}}'

    def run(check_ids, checks, measures):
        body = "limits:\n" + "".join(f"  {check_id}: {entry}\n" for check_id in ["house.z-reads", *check_ids])
        ruleset = Houses(folder).put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.1.0")
        house = plugin(qc_measures=measures, qc_checks=[*checks, check_of("house.z-reads", READ, notes)])
        return api.check(delivery, api.Options(ruleset=str(ruleset), cache=folder / "store"), hosted({"house": house}))

    plain = [*ANALYSES.values(), *TAKEN]
    writing = [
        check_of("house.a-writes", READ, writes),
        check_of("house.b-writes", (AsCut, GrooveAt, AsReceived), writes_to_the_groove),
    ]
    names = ("house.a-writes", "house.b-writes")
    spoilt = run(names, writing, [*WRITERS, *plain])
    return spoilt, run(names, writing, [*WRITERS, *plain]), run((), (), plain)


@pytest.mark.parametrize("how", ["measured", "stored"])
def test_whatever_checks_and_measurements_write_every_other_one_reads_what_was_measured(how, judged):
    measured, stored, without = judged
    spoilt = measured if how == "measured" else stored
    assert spoilt.plugin_failures == ()
    own = ("house.a-writes", "house.b-writes")
    assert [r.outcome for r in spoilt.results if r.check in own] == ["pass", "pass"]
    assert [r for r in spoilt.results if r.check not in own] == list(without.results)
    assert spoilt.sides[0].measurements == without.sides[0].measurements
    assert spoilt.sides[0].levels == without.sides[0].levels
    (reader,) = [r for r in spoilt.results if r.check == "house.z-reads"]
    for shape, (_, built) in SHAPES.items():
        assert reader.reason.count(plainly(built(ROWS.copy()))) >= 2, shape
