"""A delivery whose documents do not fit its sound, through the whole command: one cause is one finding."""

from __future__ import annotations

import numpy as np
import pytest

from qc import api
from qc.testing import signals
from qc.testing.deliveries import Sent, deliver

RATE = 48_000
SYMPTOMS = ("layout.track-times-disagree", "layout.gap-disagrees", "delivery.audio-disagrees")


def side(*lengths, gap=2.0):
    """The samples of a side, noise with silences, and its track list in s."""
    parts, tracks, start = [], [], 0.0
    for i, length in enumerate(lengths):
        parts += [signals.pink_noise(length, RATE, 0.1, seed=i), np.zeros((2, round(gap * RATE)))]
        tracks.append((start, start + length))
        start += length + gap
    return np.concatenate(parts, axis=1), tracks


A, B = side(11.0, 7.0, 16.0, 9.0), side(6.0, 15.0, 8.0)


def judged(folder, **sides):
    report = api.check(deliver(folder, sides), api.Options(workers=1))
    return report, {(result.check, result.side): result for result in report.results}


@pytest.fixture(scope="module")
def exchanged(tmp_path_factory):
    a, b = (Sent(audio[0], RATE, tracks=tracks[1]) for audio, tracks in ((B, A), (A, B)))
    return judged(tmp_path_factory.mktemp("exchanged"), A=a, B=b)


def test_sides_exchanged_are_one_finding_a_side_and_no_symptom(exchanged):
    report, results = exchanged
    failing = {name for (name, _), result in results.items() if result.outcome == "fail"}
    assert failing == {"delivery.sides-exchanged"}
    assert report.verdict == "fail"
    found = results["delivery.sides-exchanged", None].findings
    assert [finding.location.side for finding in found] == ["A", "B"]
    assert "fits the track list of side B, 2 of 2 starts within 0.1 s; its own, 0 of 3 starts" in found[0].message


def test_each_symptom_names_the_check_that_it_was_left_to(exchanged):
    _, results = exchanged
    for name in SYMPTOMS:
        result = results[name, "A"]
        assert (result.outcome, result.findings) == ("not_applicable", ())
        assert "left to delivery.sides-exchanged" in result.reason


def test_the_side_that_ends_before_its_list_is_measured_all_the_same(exchanged):
    report, _ = exchanged
    assert report.sides[0].levels is not None


def test_without_the_check_the_symptoms_stay(tmp_path):
    a, b = (Sent(audio[0], RATE, tracks=tracks[1]) for audio, tracks in ((B, A), (A, B)))
    report = api.check(deliver(tmp_path, {"A": a, "B": b}), api.Options(workers=1, ruleset="disc-12in-33@3.0.0"))
    failing = {result.check for result in report.results if result.outcome == "fail"}
    assert set(SYMPTOMS) <= failing


def test_two_tracks_exchanged_are_one_finding(tmp_path):
    tracks = side(11.0, 16.0, 7.0, 9.0)[1]
    _, results = judged(tmp_path, A=Sent(A[0], RATE, tracks=tracks))
    failing = {name for (name, _), result in results.items() if result.outcome == "fail"}
    assert failing == {"delivery.tracks-exchanged"}
    (finding,) = results["delivery.tracks-exchanged", "A"].findings
    assert (finding.measured, finding.location.track) == ("3 before 2", 2)


def test_a_side_that_runs_fast_is_one_finding_although_it_ends_before_its_list(tmp_path):
    tracks = [(1.06 * start, 1.06 * end) for start, end in A[1]]
    _, results = judged(tmp_path, A=Sent(A[0], RATE, tracks=tracks))
    failing = {name for (name, _), result in results.items() if result.outcome == "fail"}
    assert failing == {"programme.speed"}
    (finding,) = results["programme.speed", "A"].findings
    assert finding.measured.value == pytest.approx(6.0, abs=0.1)
    assert "6.0 % fast" in finding.message
