"""Programme, groove and paperwork: each has the worst outcome of its checks, with counts."""

from __future__ import annotations

from typing import ClassVar

import pytest

from qc.judge.subjects import subject_verdicts
from qc.model.report import CheckResult
from qc.plugin_api import Check, Model


class Limits(Model):
    pass


class Tempo(Check[Limits]):
    """A house's check of the paperwork."""

    id = "house.tempo"
    title, why, how, remedy = "Tempo", "To see it.", "It looks.", "None."
    subject: ClassVar = "paperwork"
    Limits = Limits

    def evaluate(self, _):
        return []


def result(check, outcome, side="A"):
    return CheckResult(check=check, scope="side", side=side, outcome=outcome)


def by_subject(results, checks=()):
    return {found.subject: found for found in subject_verdicts(results, checks)}


def test_a_subject_has_the_worst_outcome_of_its_checks_on_all_sides():
    found = by_subject(
        [
            result("programme.hum", "warn"),
            result("level.clipped", "fail"),
            result("level.clipped", "fail", "B"),
            result("groove.cut-too-deep", "pass"),
            result("hf.sibilance-or-cymbals-too-strong", "waived"),
            result("delivery.audio-disagrees", "warn"),
        ]
    )
    assert [*found] == ["programme", "groove", "paperwork"]
    assert (found["programme"].verdict, found["programme"].fail, found["programme"].warn) == ("fail", 2, 1)
    assert (found["groove"].verdict, found["groove"].waived) == ("pass", 1)
    assert (found["paperwork"].verdict, found["paperwork"].warn) == ("warn", 1)


def test_what_could_not_be_judged_is_no_pass():
    found = by_subject([result("programme.hum", "not_measured"), result("groove.cut-too-deep", "error")])
    assert {subject: verdict.verdict for subject, verdict in found.items()} == {
        "programme": "not_measured", "groove": "error", "paperwork": "not_measured",
    }  # fmt: skip


@pytest.mark.parametrize(("checks", "subject"), [((), "programme"), ((Tempo(Limits()),), "paperwork")])
def test_a_check_of_a_house_is_of_the_programme_or_of_the_subject_that_it_states(checks, subject):
    found = by_subject([result("house.tempo", "fail")], checks)
    assert {name for name, verdict in found.items() if verdict.verdict == "fail"} == {subject}
