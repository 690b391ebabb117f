"""Assertions on findings: they hold where they should, and say in one sentence what is there where they do not."""

import pytest

from qc.testing.deliveries import Sent, deliver, judge
from qc.testing.faults import flat_tops
from qc.testing.findings import assert_found, assert_not_found, assert_outcome, result_of
from qc.testing.signals import sine

RATE = 48_000
CLIPPED = "level.clipped"


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """Clipped runs on track 2 of side A, in the left channel; a side B in order."""
    folder = tmp_path_factory.mktemp("findings")
    x = sine(440.0, 4.0, RATE, 0.1)
    bad = Sent(flat_tops(x, RATE, at_s=3.0, runs=2, peak=0.995), RATE, tracks=[(0.0, 2.0), (2.0, 4.0)])
    return judge(deliver(folder / "delivery", {"A": bad, "B": Sent(0.9 * x, RATE)}), folder / "report.json")


def test_an_existing_finding_is_found(judged):
    finding = assert_found(judged, CLIPPED, side="A", severity="warn", at_s=3.0, within_s=0.02, track=2, channel="left")
    assert finding["measured"]["value"] == 2
    assert assert_found(judged, CLIPPED) == finding
    assert_outcome(judged, CLIPPED, "warn")
    assert_outcome(judged, CLIPPED, "pass", side="B")
    assert_not_found(judged, CLIPPED, side="B")
    assert_not_found(judged, CLIPPED, at_s=1.0)
    assert_not_found(judged, CLIPPED, track=1)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"severity": "fail"}, "found nothing that fails; it found: The number of clipped runs at any level is 2"),
        ({"at_s": 1.0}, "found nothing within 0.05 s of 1 s; it found"),
        ({"track": 1}, "found nothing on track 1"),
        ({"channel": "right"}, "found nothing in the right channel"),
        ({"side": "B"}, "level.clipped on side B found nothing; it measured level.flat_top_runs 0 1"),
    ],
)
def test_a_missing_finding_is_not_found(judged, asked, words):
    with pytest.raises(AssertionError) as caught:
        assert_found(judged, CLIPPED, **asked)
    assert words in str(caught.value)


def test_an_unwanted_finding_is_reported_with_its_place(judged):
    with pytest.raises(AssertionError, match=r"found what it should not: .* at 3\.00 s on track 2"):
        assert_not_found(judged, CLIPPED, at_s=3.0)
    with pytest.raises(AssertionError, match="found what it should not"):
        assert_not_found(judged, CLIPPED)


def test_another_outcome_is_reported_with_the_reason(judged):
    alone = "layout.loudest-or-brightest-last on side B is not applicable, not pass: there are not two tracks"
    with pytest.raises(AssertionError, match=alone):
        assert_outcome(judged, "layout.loudest-or-brightest-last", "pass", side="B")
    with pytest.raises(AssertionError, match=r"level\.clipped on side A is warn, not not applicable"):
        assert_outcome(judged, CLIPPED, "not_applicable")


def test_a_check_that_did_not_run_is_reported(judged):
    with pytest.raises(AssertionError, match=r"house\.rule did not run: the ruleset disc-12in-33@.* does not name it"):
        result_of(judged, "house.rule")
    with pytest.raises(AssertionError, match=r"level\.clipped did not run on side C; it ran on A, B"):
        result_of(judged, CLIPPED, "C")


def test_a_check_that_could_not_judge_has_not_found_nothing(tmp_path):
    silent = judge(deliver(tmp_path / "delivery", {"A": Sent(0.0 * sine(440.0, 1.0, RATE, 0.1))}), tmp_path / "r.json")
    with pytest.raises(AssertionError, match=r"level\.clipped on side A judged nothing: not measured"):
        assert_not_found(silent, CLIPPED)


def test_a_check_of_the_delivery_has_no_side(judged):
    assert result_of(judged, "delivery.same-audio-twice", "B")["side"] is None
    assert_outcome(judged, "delivery.same-audio-twice", "pass")
