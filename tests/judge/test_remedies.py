"""Advice after judging: the gravest first, nothing but the remedy, and whatever raises is named and changes nothing."""

import numpy as np
import pytest
import soundfile

from qc.audio.excerpts import Excerpts
from qc.audio.multi_file_source import FileSegment
from qc.judge.context import SideEvidence
from qc.judge.engine import CheckRunner, judge_side, verdict
from qc.judge.remedies import advise
from qc.model.cutting_chain import Chain
from qc.plugin_api import At, Check, Limit, Model, Quantity, Remedy, Stream

RATE = 48_000


class One(Model):
    most: Limit = Limit(warn=1.0, fail=2.0, unit="dB", source="practice")


class House(Check[One]):
    id, title, why, how, remedy = "house.own", "t", "w", "h", "Turn it down."
    Limits = One

    def __init__(self, values, does):
        super().__init__(One())
        self.values, self.does, self.asked = values, does, []

    def evaluate(self, ctx):
        for second, value in self.values:
            quantity = Quantity(value=value, unit="dB", at=At(start_s=second, end_s=second + 0.1))
            yield from ctx.hold(quantity, self.limits.most, op="<=", of="it")

    def advise(self, finding, look):
        self.asked.append(finding.measured.value)
        return self.does(finding, look)


@pytest.fixture
def excerpts(tmp_path):
    x = 0.1 * np.ones((2, 120 * RATE))
    soundfile.write(tmp_path / "a.wav", x.T, RATE, subtype="PCM_16")
    return Excerpts(
        Stream("side:A", RATE, 2, x.shape[1]), [FileSegment(tmp_path / "a.wav", "a.wav", 0, 0, x.shape[1], RATE)]
    )


def numbered(finding, look):
    x = look(finding.location.start_s, finding.location.start_s + 25.0)
    numbers = {"level": Quantity(value=round(float(x.max()), 2), unit="1")}
    return finding.model_copy(update={"remedy": "By so much.", "remedies": (Remedy(kind="own", numbers=numbers),)})


def advised(check, excerpts):
    evidence = SideEvidence("A", Chain(), {})
    judged, failures = judge_side([check], evidence, CheckRunner())
    assert not failures
    (after,), failures = advise([check], judged, evidence, excerpts, CheckRunner({check.id: "acme"}))
    return judged[0], after, failures


def test_the_most_severe_findings_come_first_with_their_neighbours(excerpts):
    check = House([(1.0, 1.1), (40.0, 5.0), (40.5, 1.2), (80.0, 3.0)], lambda finding, _: finding)
    before, after, failures = advised(check, excerpts)
    assert check.asked == [5.0, 1.2, 3.0, 1.1]
    assert (after, failures) == (before, [])


def test_the_other_findings_keep_their_remedy_once_the_second_look_is_used_up(excerpts):
    check = House([(1.0, 1.1), (30.0, 5.0), (60.0, 3.0), (90.0, 2.5)], numbered)
    _, after, failures = advised(check, excerpts)
    remedies = {finding.measured.value: finding.remedy for finding in after.findings}
    assert remedies == {5.0: "By so much.", 3.0: "By so much.", 2.5: "Turn it down.", 1.1: "Turn it down."}
    assert excerpts.seconds == 50.0
    assert failures == []
    assert after.findings[0].remedies[0].numbers["level"].value == 0.1


def raises(_finding, _look):
    raise ZeroDivisionError("no room")


@pytest.mark.parametrize(
    ("does", "says"),
    [
        (raises, "no room"),
        (lambda *_: None, "not a Finding"),
        (lambda finding, _: finding.model_copy(update={"severity": "warn"}), "more of a finding than the remedy"),
    ],
)
def test_advice_that_breaks_is_named_and_the_finding_stays(excerpts, does, says):
    before, after, (failure,) = advised(House([(1.0, 5.0), (9.0, 4.0)], does), excerpts)
    assert after == before
    assert (failure.plugin, failure.stage, failure.side) == ("acme", "house.own", "A")
    assert says in failure.message
    assert verdict([after], [failure]) == "error"


def test_audio_that_went_away_is_named_once(excerpts, tmp_path):
    (tmp_path / "a.wav").unlink()
    before, after, (failure,) = advised(House([(1.0, 5.0), (9.0, 4.0)], numbered), excerpts)
    assert after == before
    assert (failure.plugin, failure.stage) == ("sidegate", "second look")
    assert "could not be read again" in failure.message
