"""Two rulesets compared: which way a limit differs, by its numbers, and what else differs."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.model.quantity import meets, read
from qc.ruleset.load import RawLimit
from qc.ruleset_diff.delta import compared
from support.houses import PARENT, Houses

CHECK = "groove.cut-too-deep"
OPPOSITE = {"tightened": "loosened", "loosened": "tightened", "added": "removed", "removed": "added"}


@pytest.fixture(scope="module")
def shipped(tmp_path_factory):
    return Houses(tmp_path_factory.mktemp("none")).load(PARENT)


def of(ruleset, limit):
    limits = {**ruleset.limits, CHECK: {} if limit is None else {"greatest": limit}}
    return replace(ruleset, limits=limits)


def way(shipped, before, after, op="<="):
    found = compared(of(shipped, before), of(shipped, after), lambda *_: op)
    return found.limits[0].way if found.limits else None


def raw(warn=None, fail=None, sets=None, source="practice"):
    return RawLimit(warn, fail, source, sets)


@pytest.mark.parametrize(
    ("before", "after", "op", "says"),
    [
        (raw("110 um", "127 um"), raw("100 um", "127 um"), "<=", "tightened"),
        (raw("110 um", "127 um"), raw("110 um", "130 um"), "<=", "loosened"),
        (raw("110 um", "127 um"), raw("100 um", "130 um"), "<=", "changed"),
        (raw("110 um", "100 um"), raw("100 um", "100 um"), ">=", "loosened"),
        (raw("110 um"), raw("110 um", "127 um"), "<=", "tightened"),
        (raw("110 um", "127 um"), raw("110 um"), "<=", "loosened"),
        (raw("110 um", "127 um"), raw("0.11 mm", "127 um"), "<=", None),
        (raw("110 um", "127 um"), raw("0.11 mm", "127 um", source="house: us"), "<=", "words"),
        (raw("110 um", "127 um"), raw("110 um", "127 um", "fail"), "<=", "tightened"),
        (raw("110 um", "127 um", "warn"), raw("110 um", "127 um", "fail"), "<=", "loosened"),
        (raw("110 um", "127 um", "fail"), raw("110 um", "130 um", "warn"), "<=", "changed"),
        (raw("110 um", "127 um"), raw("100 um", "127 um"), None, "tightened"),  # it warns before it fails
        (raw("120 um", "110 um"), raw("115 um", "110 um"), None, "loosened"),
        (raw("120 um", "110 um"), raw("100 um", "110 um"), None, "changed"),  # the two disagree
        (raw("110 um"), raw("100 um"), None, "changed"),  # nobody can tell
        (raw("110 um"), raw("100 g"), "<=", "changed"),
        (None, raw("110 um"), "<=", "added"),
        (raw("110 um"), None, "<=", "removed"),
    ],
)
def test_a_limit_differs_in_a_way(shipped, before, after, op, says):
    assert way(shipped, before, after, op) == says
    assert way(shipped, after, before, op) == OPPOSITE.get(says, says)


MICRONS = st.one_of(st.none(), st.integers(1, 30).map(lambda n: f"{n} um"))
LIMITS = st.builds(raw, MICRONS, MICRONS)
VALUES = [n / 2.0 for n in range(64)]


def severity(value, limit, op):
    for grade, bound in ((2, limit.fail), (1, limit.warn)):
        if bound is not None and not meets(value, read(bound, "um"), op, "um"):
            return grade
    return 0


@given(LIMITS, LIMITS, st.sampled_from(["<=", ">="]))
def test_a_tightened_limit_is_milder_on_no_value_and_a_loosened_one_harder_on_none(before, after, op):
    """Held against every value there is: the way is what becomes of them."""
    from qc.ruleset_diff.delta import _way

    found = _way(before, after, op)
    worse = any(severity(v, after, op) > severity(v, before, op) for v in VALUES)
    better = any(severity(v, after, op) < severity(v, before, op) for v in VALUES)
    if found is None:
        assert not worse
        assert not better
    if found == "tightened":
        assert not better
    if found == "loosened":
        assert not worse


def test_what_is_off_in_both_has_no_part_in_it(shipped):
    off = {CHECK: "thick plates"}
    one = replace(of(shipped, raw("110 um")), off=off)
    two = replace(of(shipped, raw("10 um")), off=off)
    assert compared(one, two, lambda *_: "<=") == compared(one, one, lambda *_: "<=")
    told = compared(one, replace(two, off={CHECK: "thin plates"}), lambda *_: "<=").checks
    assert [(check.check, check.way, check.reason) for check in told] == [(CHECK, "words", "thin plates")]


def test_a_check_goes_off_and_comes_on(shipped):
    off = replace(shipped, off={CHECK: "thick plates"})
    (gone,) = compared(shipped, off, lambda *_: None).checks
    (back,) = compared(off, shipped, lambda *_: None).checks
    assert (gone.check, gone.way, gone.reason, gone.sets_level) == (CHECK, "off", "thick plates", True)
    assert (back.check, back.way, back.reason, back.sets_level) == (CHECK, "on", "thick plates", True)


def test_a_chain_is_compared_by_its_values(tmp_path):
    houses = Houses(tmp_path)
    houses.put("one@1.0.0", "chain: {cut: {land: {value: 16 um, source: V-7}}}\n")
    houses.put("two@1.0.0", 'chain: {cut: {land: {value: 0.016 mm, source: "house: us"}}}\n')
    (value,) = compared(houses.load(PARENT), houses.load("one"), lambda *_: None).chain
    (source,) = compared(houses.load("one"), houses.load("two"), lambda *_: None).chain
    assert (value.key, value.value) == ("cut.land", True)
    assert (source.key, source.value) == ("cut.land", False)
