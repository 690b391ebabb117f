"""Findings that follow from one cause are left out where another check found the cause on the same side."""

from __future__ import annotations

from typing import Any, ClassVar

import pytest

from qc.judge.explained import without_explained
from qc.model.report import Location
from qc.plugin_api import Check, CheckResult, Finding, Model


class Nothing(Model):
    pass


def check(check_id: str, **attributes: Any) -> Check[Any]:
    class House(Check[Nothing]):
        id, title, why, how, remedy = check_id, "t", "w", "h", "Ask."
        Limits: ClassVar[type[Model]] = Nothing

        def evaluate(self, ctx):
            return ()

    for name, value in attributes.items():
        setattr(House, name, value)
    return House(Nothing())


def finding(check_id, severity="fail", side="A", measured="a text", waived=None):
    return Finding(
        check=check_id, severity=severity, message="m", measured=measured, limit=None, margin=None,
        location=Location(side=side), remedy="r", fingerprint="f", waived_by=waived,
    )  # fmt: skip


def result(check_id, *findings, side="A", outcome="fail"):
    return CheckResult(check=check_id, scope="side", side=side, outcome=outcome, findings=findings)


SYMPTOM = "house.symptom"
CAUSE = check("house.cause", explains={SYMPTOM: ()})
CHECKS = [CAUSE, check(SYMPTOM)]


def cause(*findings):
    return CheckResult(check=CAUSE.id, scope="delivery", side=None, outcome="fail", findings=findings)


def test_the_symptoms_of_a_side_are_left_to_their_cause():
    symptoms = [result(SYMPTOM, finding(SYMPTOM), finding(SYMPTOM, "warn"))]
    left, _ = without_explained([*symptoms, cause(finding(CAUSE.id))], CHECKS)
    assert (left.outcome, left.findings) == ("not_applicable", ())
    assert left.reason == "2 findings left to house.cause"


@pytest.mark.parametrize(
    "found",
    [
        finding(CAUSE.id, side="B"),
        finding(CAUSE.id, "warn"),
        finding(CAUSE.id, waived="W1"),
    ],
    ids=["another side", "a cause that only warns", "a cause that was waived"],
)
def test_a_failing_symptom_stays_without_a_failing_cause_of_its_own_side(found):
    symptom = result(SYMPTOM, finding(SYMPTOM))
    assert without_explained([symptom, cause(found)], CHECKS)[0] == symptom


def test_only_the_kinds_that_are_named_are_left_out():
    named = [check("house.cause", explains={SYMPTOM: ("too short",)}), check(SYMPTOM)]
    symptom = result(SYMPTOM, finding(SYMPTOM, measured="too short"), finding(SYMPTOM, "warn", measured="damaged"))
    left, _ = without_explained([symptom, cause(finding(CAUSE.id))], named)
    assert (left.outcome, [kept.measured for kept in left.findings]) == ("warn", ["damaged"])


def test_a_result_without_findings_keeps_its_outcome():
    passing = result(SYMPTOM, outcome="pass")
    broken = result(SYMPTOM, outcome="error", side="B")
    found = cause(finding(CAUSE.id), finding(CAUSE.id, side="B"))
    assert without_explained([passing, broken, found], CHECKS)[:2] == [passing, broken]


def test_of_a_check_of_the_delivery_the_findings_of_the_side_with_the_cause_are_left_out():
    named = [check("house.cause", explains={SYMPTOM: ("side",)}), check(SYMPTOM)]
    of_sides = [finding(SYMPTOM, "warn", side=side, measured="side") for side in ("A", "B")]
    symptom = CheckResult(check=SYMPTOM, scope="delivery", side=None, outcome="warn", findings=tuple(of_sides))
    left, _ = without_explained([symptom, cause(finding(CAUSE.id))], named)
    assert (left.outcome, [kept.location.side for kept in left.findings]) == ("warn", ["B"])
