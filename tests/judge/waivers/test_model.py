"""Waivers: what they cover, until when, and what no waiver changes."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.judge.context import SideEvidence
from qc.judge.engine import MOST_FINDINGS, CheckRunner, judge_delivery, judge_side, verdict
from qc.judge.waivers.model import ResolvedWaiver, Waivers
from qc.model.cutting_chain import Chain
from qc.model.errors import NotApplicableError, NotMeasuredError
from qc.model.report import Finding, Location, Stretch
from qc.plugin_api import Check, Limit, Model

CHECK = "house.own"
TODAY = dt.date(2026, 6, 15)
STARTS = [(1, 2.0), (2, 60.0), (3, 120.0)]

LAWS = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""Other loads on the machine are no fault."""


def waiver(**more):
    given = {"key": "delivery.yaml:9", "check": CHECK, "owner": "M. Reed", "reason": "meant so"}
    return ResolvedWaiver(**{**given, **more, "tracks": frozenset(more.get("tracks", ()))})


def finding(start=None, end=None, *, side="A", track=None, stretch=None, severity="fail"):
    return Finding(
        check=CHECK, severity=severity, message="m", measured="x", limit=None, margin=None, remedy="r", fingerprint="f",
        location=Location(side=side, track=track, start_s=start, end_s=end),
        stretch=None if stretch is None else Stretch(start_s=stretch[0], end_s=stretch[1]),
    )  # fmt: skip


def covers(one, found, scope="side"):
    return one.covers(CHECK, found, scope, STARTS)


@pytest.mark.parametrize(
    ("place", "found", "covered"),
    [
        ({}, finding(), True),
        ({}, finding(70.0, 71.0, track=2), True),
        ({"side": "A"}, finding(), True),
        ({"side": "B"}, finding(), False),
        ({"tracks": [2]}, finding(70.0, 71.0, track=2), True),
        ({"tracks": [1]}, finding(70.0, 71.0, track=2), False),
        ({"tracks": [2]}, finding(track=2), True),
        ({"tracks": [2]}, finding(), False),
        ({"tracks": [2]}, finding(70.0, 71.0), False),
        ({"tracks": [2]}, finding(119.0, 121.0, track=2), False),
        ({"tracks": [2, 3]}, finding(119.0, 121.0, track=2), True),
        ({"tracks": [2]}, finding(119.0, 120.01, track=2), True),
        ({"tracks": [1]}, finding(0.0, 1.0, track=1), True),
        ({"tracks": [3]}, finding(500.0, 501.0, track=3), True),
        ({"start_s": 60.0, "end_s": 80.0}, finding(70.0, 71.0), True),
        ({"start_s": 60.0, "end_s": 80.0}, finding(79.0, 81.0), False),
        ({"start_s": 60.0, "end_s": 80.0}, finding(59.0, 61.0), False),
        ({"start_s": 60.0}, finding(70.0, 1e6), True),
        ({"end_s": 80.0}, finding(0.0, 80.0), True),
        ({"end_s": 80.0}, finding(track=2), False),
        ({"start_s": 60.0}, finding(), False),
        ({"start_s": 70.0, "end_s": 70.0}, finding(70.0), True),
        ({"start_s": 60.0, "end_s": 80.0}, finding(70.0, 71.0, stretch=(70.0, 81.0)), False),
        ({"start_s": 70.0, "end_s": 72.0}, finding(65.0, 75.0, stretch=(70.5, 71.0)), True),
        ({"tracks": [2]}, finding(70.0, 71.0, track=2, stretch=(50.0, 71.0)), False),
    ],
)  # fmt: skip
def test_a_waiver_must_cover_the_whole_finding(place, found, covered):
    assert covers(waiver(**place), found) == covered


@pytest.mark.parametrize("place", [{"tracks": [2]}, {"start_s": 60.0}, {"end_s": 80.0}])
def test_a_number_of_the_whole_side_needs_a_waiver_of_the_whole_side(place):
    """It lies where it is worst, and may be as bad elsewhere."""
    number = finding(70.0, 71.0, track=2).model_copy(update={"measure": "level.true_peak"})
    event = number.model_copy(update={"stretch": Stretch(start_s=70.0, end_s=71.0)})
    assert covers(waiver(**place), event)
    assert not covers(waiver(**place), number)
    assert covers(waiver(side="A"), number)


def test_findings_of_another_check_are_not_covered():
    assert not waiver().covers("house.other", finding(), "side", STARTS)


def test_times_copied_from_the_report_cover_their_finding():
    """It writes 6.1333... and 6.4933... as 6.133 and 6.493."""
    found = finding(6.0 + 10 / 75, 6.0 + 37 / 75)
    assert covers(waiver(start_s=6.133, end_s=6.493), found)
    assert not covers(waiver(start_s=6.133, end_s=6.492), found)


def test_a_finding_of_the_delivery_needs_a_waiver_without_a_side():
    assert not covers(waiver(side="A"), finding(), "delivery")
    assert covers(waiver(), finding(), "delivery")


@LAWS
@given(st.integers(-4000, 4000))
def test_a_waiver_is_valid_until_its_last_day(days):
    last = TODAY + dt.timedelta(days=days)
    assert waiver(expires=last).holds(TODAY) == (days >= 0)
    (fact,) = Waivers([waiver(expires=last)], TODAY).facts()
    assert fact.state == ("unused" if days >= 0 else "expired")
    assert fact.expires == last.isoformat()


def test_only_waivers_that_never_expire_are_valid_on_an_unknown_day():
    assert waiver().holds(None)
    assert not waiver(expires=dt.date.max).holds(None)


# -- judged ------------------------------------------------------------------------------------------------------


class One(Model):
    most: Limit = Limit(warn=1.0, unit="dB", source="practice")


class House(Check[One]):
    id, title, why, how, remedy = CHECK, "t", "w", "h", "Turn it down."
    Limits = One

    def __init__(self, finds, error=None, scope="side"):
        super().__init__(One())
        self.finds, self.error = finds, error
        self.__dict__["scope"] = scope

    def evaluate(self, ctx):
        yield from self.finds
        if self.error is not None:
            raise self.error


def evidence():
    return SideEvidence("A", Chain(), {"tracks": [{"number": n, "start": start} for n, start in STARTS]})


def judged(finds, *waivers, error=None, today=TODAY):
    desk = Waivers(waivers, today)
    (result,), failures = judge_side([House(finds, error)], evidence(), CheckRunner({CHECK: "acme"}), desk)
    return result, desk.facts(), verdict([result], failures)


def test_a_result_is_waived_when_all_its_findings_are():
    result, (fact,), whole = judged([finding(70.0, 71.0), finding(74.0, 75.0, severity="warn")], waiver(start_s=60.0))
    assert (result.outcome, result.findings_waived, whole) == ("waived", 2, "pass")
    assert {one.waived_by for one in result.findings} == {fact.key}
    assert (fact.state, fact.findings) == ("used", 2)


@pytest.mark.parametrize(("left", "outcome"), [("warn", "warn"), ("fail", "fail")])
def test_a_result_is_the_worst_of_its_unwaived_findings(left, outcome):
    result, _, whole = judged([finding(70.0, 71.0), finding(10.0, 11.0, severity=left)], waiver(start_s=60.0))
    assert (result.outcome, whole) == (outcome, outcome)


@pytest.mark.parametrize(
    ("error", "outcome"),
    [(NotMeasuredError("no bass"), "not_measured"), (NotApplicableError("no more"), "waived"), (ValueError(), "error")],
)
def test_a_missing_judgement_cannot_be_waived(error, outcome):
    result, _, whole = judged([finding()], waiver(), error=error)
    assert result.outcome == outcome
    assert whole == ("error" if outcome == "error" else "pass")


def test_an_expired_waiver_counts_the_findings_that_remain():
    result, (fact,), whole = judged([finding()], waiver(expires=TODAY - dt.timedelta(days=1)))
    assert (result.outcome, result.findings[0].waived_by, whole) == ("fail", None, "fail")
    assert (fact.state, fact.findings) == ("expired", 1)


def test_a_valid_waiver_replaces_an_expired_one():
    old, new = waiver(key="a:1", expires=dt.date(2026, 1, 1)), waiver(key="a:2", expires=TODAY)
    result, facts, _ = judged([finding()], old, new)
    assert result.findings[0].waived_by == "a:2"
    assert [(fact.state, fact.findings) for fact in facts] == [("expired", 0), ("used", 1)]


def test_an_unused_waiver_is_reported():
    _, (fact,), _ = judged([finding(70.0, 71.0)], waiver(end_s=60.0))
    assert (fact.state, fact.findings) == ("unused", 0)


def test_a_check_does_not_waive_what_it_finds():
    forged = finding().model_copy(update={"waived_by": "delivery.yaml:9"})
    assert judged([forged])[0].outcome == "fail"


def test_waived_findings_never_displace_others_and_omitted_ones_count():
    several = [finding(70.0 + n, 70.0 + n, severity="fail") for n in range(MOST_FINDINGS)]
    mild = [finding(10.0 + n / 100.0, 10.0 + n / 100.0, severity="warn") for n in range(MOST_FINDINGS - 1)]
    result, (fact,), _ = judged(several + mild, waiver(start_s=60.0))
    kept = [one.waived_by for one in result.findings]
    assert kept == [None] * (MOST_FINDINGS - 1) + [fact.key]
    assert (result.findings_omitted, result.findings_waived, result.left_unwaived) == (99, 100, 0)
    assert (fact.findings, result.outcome) == (100, "warn")


def test_a_check_of_the_delivery_is_waived_with_the_tracks_of_each_side():
    check = House([finding(119.0, 121.0, track=2)], scope="delivery")
    for tracks, outcome in (([2], "fail"), ([2, 3], "waived")):
        desk = Waivers([waiver(tracks=tracks)], TODAY)
        (result,), _ = judge_delivery([check], {"side:A": evidence()}, {}, CheckRunner(), desk)
        assert result.outcome == outcome


def told(found):
    return found.severity, found.location.start_s, found.location.end_s


places = st.tuples(st.integers(0, 150), st.integers(1, 20), st.sampled_from(["warn", "fail"]))


@LAWS
@given(st.lists(places, max_size=12), st.integers(0, 150), st.integers(1, 60), st.sets(st.sampled_from([1, 2, 3])))
def test_a_waiver_changes_nothing_outside_its_place(several, start, length, tracks):
    """Whoever reads only what lies outside sees the same with and without it."""
    finds = [finding(float(at), float(at + long), track=1, severity=how) for at, long, how in several]
    one = waiver(start_s=float(start), end_s=float(start + length), tracks=tracks)
    bare, with_it = judged(finds)[0], judged(finds, one)[0]
    open_ones = [f for f in with_it.findings if f.waived_by is None]
    outside = [f for f in finds if not (start <= f.location.start_s and f.location.end_s <= start + length)]
    assert not Counter(map(told, outside)) - Counter(map(told, open_ones))
    grades = {f.severity for f in open_ones}
    left = "fail" if "fail" in grades else "warn" if "warn" in grades else "waived" if finds else "pass"
    assert with_it.outcome == left
    if len(open_ones) == len(finds):
        assert with_it == bare
