"""Every case file holds, and the cases lie on each side of every bound that the shipped rulesets have.

What a bound is comes from the rulesets, on which side of it a case lies from the numbers in its report; the names of
the files count for nothing here. A case "lies at" a bound within a tenth of it; of a bound of nought, NEAR_NOUGHT.
"""

import ast
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

import qc
from qc import api
from qc.judge.bind import bind
from qc.model.discs import DISCS
from qc.model.quantity import meets
from qc.plugin_api import Limit
from qc.ruleset.library import Shelf
from qc.testing.cases import cases_in, hold, run

FOLDER = Path(__file__).parent
CASES = cases_in(FOLDER)
STORE = TemporaryDirectory()
NEAR = 0.1
NEAR_NOUGHT = {"bit": 1.0, "um": 2.0, "dB": 0.11, "dBTP": 0.15, "min": 0.02}
"""by unit; of a correlation and of counts, which have none, by the measurement"""
NEAR_NOUGHT_OF = {
    "stereo.low_correlation": 0.03, "level.clipped_runs": 1.0, "level.flat_top_runs": 1.0, "file.holes": 1.0,
    "file.holes_below_edge": 1.0, "file.inter_sample_overs": 1.0,
}  # fmt: skip
ONE_CELL = {"groove.sibilance_time": 1.0e-3}
"""A ms of the windows that shares of time are counted in, 10 s but for this one: no two cases lie closer."""
WITHOUT_LIMITS = {
    "delivery.audio-disagrees": {"pass", "warn", "fail"},
    "delivery.number-or-isrc": {"pass", "warn", "fail", "not_applicable"},
    "delivery.papers-disagree": {"pass", "warn", "not_applicable"},
    "delivery.same-audio-twice": {"pass", "fail", "not_applicable"},
    "delivery.sample-rates-differ": {"pass", "warn", "not_applicable"},
    "delivery.sides-exchanged": {"pass", "fail", "not_applicable"},
    "delivery.tracks-exchanged": {"pass", "fail", "not_applicable"},
    "programme.channels-exchanged": {"pass", "fail", "not_applicable"},
    "layout.loudest-or-brightest-last": {"pass", "not_applicable"},
    "file.says-otherwise": {"pass", "warn", "fail", "not_applicable"},
}
"""Outcomes that a check without limits has, by what its own words say; one that reads no file is not measured."""


@cache
def host():
    return api.build_host()


@pytest.fixture(scope="module", autouse=True)
def forgotten():
    """Nothing that was measured here outlives these tests."""
    yield
    STORE.cleanup()


def judge(case):
    """Judge a case; where the check works something out itself it is judged twice, and measured once."""
    with TemporaryDirectory() as folder:
        return run(case, Path(folder), host(), cache=Path(STORE.name) if case.check in working_out() else None)


@cache
def judged(number):
    return judge(CASES[number])


def left_to_the_long_run(case):
    """The sides of three minutes on a 10-inch disc; those on a 7-inch, half as long, try the same law."""
    return case.check == "groove.last-diameter-too-small" and "10-inch" in str(case)


OF_10_INCH = {("groove.last-diameter-too-small", 115.0), ("groove.last-diameter-too-small", 120.65)}
"""(check, value) of the bounds that those cases lie at"""


@pytest.mark.parametrize(
    "number",
    [
        pytest.param(number, marks=pytest.mark.long if left_to_the_long_run(case) else (), id=str(case))
        for number, case in enumerate(CASES)
    ],
)
def test_case(number):
    hold(CASES[number], judged(number))


# -- the bounds there are --------------------------------------------------------------------------------------


@cache
def bound_checks():
    """The checks of every newest shipped ruleset, with their limits."""
    shelf = Shelf(host().ruleset_folders)
    rulesets = [shelf.load(shelf.serving(*disc)) for disc in DISCS]
    return [check for one in rulesets for check in bind(one, host().checks, api.units(host().needs)).checks]


def limits_of(check):
    """Those that the ruleset gives; some may be left out, and parameters are none."""
    limits = {key: getattr(check.limits, key) for key in type(check.limits).model_fields}
    return {key: limit for key, limit in limits.items() if isinstance(limit, Limit)}


def own_keys(check):
    """Limits that are held against no measurement: what the check itself works out is."""
    judges = {name.partition(".")[0] for name in check.judges}
    return [key for key in limits_of(check) if key not in judges]


@cache
def working_out():
    """Ids of the checks that compute by themselves what one of their limits is compared with."""
    return {check.id for check in bound_checks() if own_keys(check)}


def bounds():
    """(check, limit, grade, value, unit, op) of all of them, each once."""
    found = set()
    for check in bound_checks():
        for name, one in check.judges.items():
            limit = limits_of(check).get(name.partition(".")[0])
            if limit is None:
                continue
            found |= {(check.id, name, grade, getattr(limit, grade), limit.unit, one.op) for grade in ("warn", "fail")}
        for key in own_keys(check):
            limit = limits_of(check)[key]
            op = ">=" if key == "least" else "<="
            found |= {(check.id, key, grade, getattr(limit, grade), limit.unit, op) for grade in ("warn", "fail")}
    return sorted(bound for bound in found if bound[3] is not None)


@cache
def own_values(check_id):
    """What a check itself worked out in its cases, by limit: under limits that nothing keeps, all of it is found."""
    check = next(one for one in bound_checks() if one.id == check_id)
    units = {key: limits_of(check)[key].unit for key in own_keys(check)}
    limits = {
        key: {"warn": f"{'1000000' if key == 'least' else '-1'} {unit}", "source": f"house: {key}"}
        for key, unit in units.items()
    }
    values = {key: [] for key in limits}
    for case in CASES:
        if case.check == check_id and case.outcome != "not_applicable":
            report = judge(case.with_limits({check_id: limits})).report
            for result in report["results"]:
                for finding in result["findings"] if result["check"] == check_id else ():
                    values[finding["limit"]["source"].removeprefix("house: ")].append(finding["measured"]["value"])
    return values


def values_at(check_id, name, grade, value):
    """The numbers that the cases of a check have where it has this very bound, and what they are a measurement of."""
    if name in own_keys(next(one for one in bound_checks() if one.id == check_id)):
        return own_values(check_id)[name], ""
    found, measure = [], ""
    for number, case in enumerate(CASES):
        if case.check != check_id or (left_to_the_long_run(case) and (check_id, value) not in OF_10_INCH):
            continue
        report = judged(number).report
        limit = report["ruleset"]["limits"].get(f"{check_id}/{name}")
        if limit is None:  # the case is judged by another ruleset
            continue
        measure = limit["measure"]
        if limit[grade] == value:
            found += [
                side["measurements"][measure]["value"] for side in report["sides"] if measure in side["measurements"]
            ]
    return found, measure


def one_cell(measure):
    """A ms as a share of time, and the rounding of its sum; 0 for any other measurement."""
    share = measure.removesuffix("_twice")
    return 1.000001 * ONE_CELL.get(share, 1.0e-4) if share.endswith("_time") else 0.0


def name_of(bound):
    return f"{bound[0]}/{bound[1]}-{bound[2]}-{bound[3]:g}"


@pytest.mark.parametrize(
    "bound",
    [
        pytest.param(bound, marks=pytest.mark.long if (bound[0], bound[3]) in OF_10_INCH else (), id=name_of(bound))
        for bound in bounds()
    ],
)
def test_a_case_lies_on_each_side_of_the_bound(bound):
    check_id, name, grade, value, unit, op = bound
    values, measure = values_at(check_id, name, grade, value)
    near = max(abs(value) * NEAR, NEAR_NOUGHT_OF.get(measure, NEAR_NOUGHT.get(unit, 0.0)), one_cell(measure))
    at = [one for one in values if abs(one - value) <= near]
    assert {meets(one, value, op, unit) for one in at} == {True, False}, (
        f"{check_id} has no case on each side of {name} {grade} {value:g} {unit}; its cases have {sorted(values)}"
    )


# -- checks without bounds -------------------------------------------------------------------------------------


def test_every_shipped_check_has_cases():
    assert {case.check for case in CASES} == set(host().checks)


def test_a_check_without_limits_has_a_case_of_each_outcome():
    assert {check.id for check in bound_checks() if not limits_of(check)} == set(WITHOUT_LIMITS)
    found = {check: {case.outcome for case in CASES if case.check == check} for check in WITHOUT_LIMITS}
    assert found == WITHOUT_LIMITS


def kinds_of_fault():
    """What the sources of the tool can find wrong with an audio file, by reading them."""
    makers = {"_fault", "AudioFault", "Contradiction", "unreadable"}
    kinds = set()
    for path in Path(qc.__file__).parent.glob("**/*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in makers:
                given = [*node.args[:1], *(word.value for word in node.keywords if word.arg == "kind")]
                kinds |= {one.value for one in given if isinstance(one, ast.Constant)}
    return kinds


def test_every_fault_that_audio_can_have_has_a_case():
    found = {
        finding["measured"]
        for number, case in enumerate(CASES)
        if case.check == "delivery.audio-disagrees"
        for result in judged(number).report["results"]
        if result["check"] == case.check
        for finding in result["findings"]
    }
    assert len(found) > 10
    elsewhere = {"changed"}  # no file shows that it changes while it is read: tests/audio/test_changing.py
    elsewhere |= {"byte rate", "contradicting header", "frame count"}  # tests/audio/container/test_contradictions.py
    assert found == kinds_of_fault() - elsewhere


# -- that the tests above can fail -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "bound",
    [
        ("groove.cut-too-deep", "greatest", "warn", 118.0, "um", "<="),  # no case is judged by it
        ("loudness.sides-unequal", "difference", "warn", 6.0, "LU", "<="),  # no case lies near it
        ("loudness.sides-unequal", "difference", "warn", 3.1001, "LU", "<="),  # no case lies beyond it
    ],
)
def test_a_bound_that_no_case_is_about_is_told(bound):
    with pytest.raises(AssertionError, match="has no case on each side of"):
        test_a_case_lies_on_each_side_of_the_bound(bound)
