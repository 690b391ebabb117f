"""A report against an earlier one: the same by place, one to one; what is mended is not what was not judged."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.judge.baseline.compare import Earlier, SideLayout, compared, matched, nearest, refuse_stale
from qc.judge.engine import exit_code
from qc.model.errors import UsageError
from qc.model.quantity import Quantity
from qc.model.report import (
    AudioFacts,
    CheckResult,
    DeliveryFacts,
    Finding,
    Levels,
    LevelThen,
    Location,
    Report,
    RulesetFacts,
    SideReport,
)

LAWS = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""Other loads on the machine are no fault."""


def finding(start=None, *, check="house.own", side="A", track=1, field=None, measure="", severity="fail", **more):
    return Finding(
        check=check, severity=severity, message="m", measured="x", measure=measure, limit=None, margin=None, remedy="r",
        fingerprint="f", location=Location(side=side, track=track, start_s=start, field=field), **more,
    )  # fmt: skip


def result(*findings, check="house.own", side="A", outcome=None, omitted=0, scope="side"):
    return CheckResult(
        check=check, scope=scope, side=side, outcome=outcome or ("fail" if findings else "pass"), findings=findings,
        findings_omitted=omitted,
    )  # fmt: skip


def report(*results, sides="A", verdict="fail"):
    return Report(
        tool="sidegate 0.1.0", plugins=(), ruleset=RulesetFacts(name="disc-12in-33", version="1.1.0", sha256=""),
        delivery=DeliveryFacts(file="delivery.yaml", sha256="9f", title="t"), results=results, verdict=verdict,
        sides=tuple(SideReport(id=side, audio=AudioFacts(file="a.wav", channels=2)) for side in sides),
    )  # fmt: skip


def told(now, then):
    return compared(now, Earlier(then, "first.json"))


def marks(now, then):
    return [one.baseline for result in told(now, then).results for one in result.findings]


@pytest.mark.parametrize(
    ("now", "then", "same"),
    [
        (finding(4.0), finding(5.0), True),
        (finding(4.0), finding(5.01), False),
        (finding(4.0), finding(4.0, track=2), False),
        (finding(4.0), finding(4.0, side="B"), False),
        (finding(4.0), finding(4.0, check="house.other"), False),
        (finding(4.0), finding(None), False),
        (finding(None), finding(None), True),
        (finding(None, field="tracks.0.isrc"), finding(None, field="tracks.0.isrc"), True),
        (finding(None, field="tracks.0.isrc"), finding(None, field="tracks.1.isrc"), False),
        (finding(4.0, field="tracks.0.start"), finding(4.5, field="tracks.1.start"), True),
        (finding(4.0, severity="warn", measure="a"), finding(4.5, measure="b"), True),
    ],
)
def test_equal_findings_match(now, then, same):
    assert matched([now], [then], ["side"], ["side"]) == ([(0, 0)] if same else [])
    assert matched([now], [then], ["side"], ["delivery"]) == []


def test_findings_match_whatever_their_words_and_numbers():
    other = finding(4.5).model_copy(update={"message": "other", "measured": "y", "fingerprint": "g", "remedy": "s"})
    assert marks(report(result(finding(4.0))), report(result(other))) == ["unchanged"]


def test_findings_of_the_same_measurement_match_first():
    now = [finding(10.0, measure="in_1s"), finding(10.0, measure="in_10s")]
    then = [finding(10.0, measure="in_10s")]
    assert matched(now, then, ["side"] * 2, ["side"]) == [(1, 0)]


seconds = st.lists(st.floats(0.0, 12.0).map(lambda x: round(x, 2)), max_size=4).map(sorted)


@LAWS
@given(seconds, seconds)
def test_as_many_pairs_as_possible_match_and_then_the_nearest(now, then):
    """Against every one-to-one pairing there is."""
    best = (0, 0.0)
    for size in range(min(len(now), len(then)) + 1):
        for some in itertools.combinations(range(len(now)), size):
            for others in itertools.permutations(range(len(then)), size):
                apart = [abs(now[i] - then[j]) for i, j in zip(some, others, strict=True)]
                if all(distance <= 1.0 for distance in apart):
                    best = min(best, (-size, sum(apart)))
    pairs = nearest(now, then)
    assert len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs) == -best[0]
    assert sum(abs(now[i] - then[j]) for i, j in pairs) == pytest.approx(best[1])


places = st.lists(
    st.builds(
        finding, st.one_of(st.none(), st.floats(0.0, 20.0)), check=st.sampled_from(["house.own", "house.other"]),
        side=st.sampled_from("AB"), track=st.sampled_from([None, 1, 2]), measure=st.sampled_from(["", "a", "b"]),
        field=st.sampled_from([None, "audio"]),
    ),
    max_size=12,
)  # fmt: skip


def whole(findings):
    """A report of findings with one result for each check and side."""
    results = []
    for check in ("house.own", "house.other"):
        for side in "AB":
            its = [one for one in findings if one.check == check and one.location.side == side]
            results.append(result(*its, check=check, side=side))
    return report(*results, sides="AB")


@LAWS
@given(places, places)
def test_every_finding_is_counted_once_in_either_direction(now, then):
    there, back = told(whole(now), whole(then)).baseline, told(whole(then), whole(now)).baseline
    assert there.new + there.unchanged == len(now)
    assert len(there.gone) + there.unchanged == len(then)
    assert (back.unchanged, back.new, len(back.gone)) == (there.unchanged, len(there.gone), there.new)


@LAWS
@given(places, st.lists(st.floats(-0.3, 0.3), min_size=12, max_size=12))
def test_a_finding_moved_by_less_than_a_third_of_a_second_is_never_new(then, shifts):
    moved = [
        one if one.location.start_s is None
        else one.model_copy(update={"location": one.location.model_copy(update={"start_s": one.location.start_s + by})})
        for one, by in zip(then, shifts, strict=False)
    ]  # fmt: skip
    facts = told(whole(moved), whole(then)).baseline
    assert (facts.new, facts.gone, facts.unchanged) == (0, (), len(then))


@LAWS
@given(st.floats(0.0, 1000.0), st.floats(1.001, 1000.0))
def test_a_finding_moved_by_more_than_a_second_is_new(start, by):
    facts = told(whole([finding(start + by)]), whole([finding(start)])).baseline
    assert (facts.new, facts.unchanged, len(facts.gone)) == (1, 0, 1)


# -- what became of it -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("outcome", ["not_measured", "not_applicable", "error"])
def test_a_finding_that_is_not_judged_any_more_is_not_fixed(outcome):
    facts = told(report(result(outcome=outcome)), report(result(finding(4.0)))).baseline
    assert (len(facts.not_judged), facts.gone) == (1, ())


def test_a_check_that_is_off_now_judged_nothing():
    facts = told(report(), report(result(finding(4.0)))).baseline
    assert (len(facts.not_judged), facts.gone) == (1, ())


def test_a_finding_that_may_be_omitted_is_not_fixed():
    now, then = report(result(finding(4.0), omitted=7)), report(result(finding(4.0), finding(9.0), omitted=3))
    facts = told(now, then).baseline
    assert (len(facts.unsure), facts.gone, facts.unchanged) == (1, (), 1)
    (left,) = facts.left_out
    assert (left.check, left.side, left.then, left.now) == ("house.own", "A", 3, 7)


def test_a_finding_of_an_incomplete_check_is_not_fixed():
    short = result(finding(4.0)).model_copy(update={"reason": "house.other has no value on this side"})
    facts = told(report(short), report(result(finding(4.0), finding(9.0)))).baseline
    assert (len(facts.unsure), facts.gone) == (1, ())


def test_findings_of_a_side_that_is_not_judged_now_are_ignored():
    then = whole([finding(4.0), finding(4.0, side="B")])
    facts = told(report(result(finding(4.0)), result(check="house.other")), then).baseline
    assert (facts.unchanged, facts.new, facts.gone, facts.not_judged) == (1, 0, (), ())


@pytest.mark.parametrize(
    ("then", "now", "told_of"),
    [
        (0.0, -3.0, True),
        (-0.1, 0.0, True),
        (0.0, 0.0, False),
        (1.26, 1.3, False),
        (None, 0.0, False),
        (0.0, None, False),
    ],
)
def test_a_side_judged_at_another_level_is_named(then, now, told_of):
    """What is mended may be the level alone; levels that a report shows alike are one level."""

    def judged_at(level):
        side = SideReport(id="A", audio=AudioFacts(file="a.wav", channels=2))
        if level is not None:
            one = Quantity(value=level, unit="dB")
            side = side.model_copy(update={"levels": Levels(judged=one, recommended=one, clean=one)})
        return report(result(finding(4.0))).model_copy(update={"sides": (side,)})

    levels = told(judged_at(now), judged_at(then)).baseline.other_levels
    assert levels == ((LevelThen(side="A", then=then, now=now),) if told_of else ())


def test_checks_that_compare_sides_are_not_judged_with_one_side():
    then = report(result(finding(None, track=None), side=None, scope="delivery"), sides="AB")
    now = report(result(side=None, scope="delivery"))
    assert len(told(now, then).baseline.not_judged) == 1
    now = report(result(side=None, scope="delivery"), sides="AB")
    assert len(told(now, then).baseline.gone) == 1


def test_a_waived_finding_of_the_earlier_report_is_unchanged():
    then = report(result(finding(4.0, waived_by="delivery.yaml:9"), outcome="waived"), verdict="pass")
    assert marks(report(result(finding(4.0))), then) == ["unchanged"]


# -- what counts -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "code", "strictly"),
    [
        (result(finding(4.0)), 0, 0),
        (result(finding(4.0), finding(9.0)), 1, 1),
        (result(finding(4.0), finding(9.0, severity="warn")), 0, 1),
        (result(finding(4.0), finding(9.0, waived_by="w:1")), 0, 0),
        (result(finding(4.0), omitted=3), 0, 0),
        (result(finding(4.0), omitted=4), 1, 1),
        (result(finding(4.0, severity="warn"), omitted=4, outcome="warn"), 0, 1),
    ],
)
def test_only_new_findings_count(now, code, strictly):
    both = told(report(now), report(result(finding(4.0), omitted=3)))
    assert exit_code(both, only_new=True) == code
    assert exit_code(both, strict=True, only_new=True) == strictly
    assert both.verdict == "fail"


def test_a_failure_of_the_tool_stays_exit_code_3():
    both = told(report(result(outcome="error"), verdict="error"), report(result(finding(4.0))))
    assert exit_code(both, only_new=True) == 3


# -- stale -------------------------------------------------------------------------------------------------------


def stale(then, *, ruleset="disc-12in-33", version="1.4.0", sha256="", chain=None, every_side=True, **sides):
    sides = sides or {"A": SideLayout(2, 0, a_file_a_track=False)}
    rules = RulesetFacts(name=ruleset, version=version, sha256=sha256, chain=chain or {})
    refuse_stale(Earlier(then, "first.json"), rules, sides, every_side=every_side)


def with_tracks(*tracks, channels=2):
    side = SideReport(id="A", audio=AudioFacts(file="a", channels=channels), declared={"tracks": list(tracks)})
    return report().model_copy(update={"sides": (side,)})


def cut(**values):
    return {"cut": {name: {"value": value, "source": "practice"} for name, value in values.items()}}


def judged_with(**values):
    one = report()
    return one.model_copy(update={"ruleset": one.ruleset.model_copy(update={"chain": cut(**values)})})


def test_another_minor_version_may_have_other_values():
    stale(report(), sha256="ab" * 32)
    stale(judged_with(land="25 um"), chain=cut(land="13 um"))


def test_reports_by_the_same_rules_and_chain_are_compared():
    asked = {"cut": {"land": {"value": "25 um", "source": "asked for", "was": "13 um"}}}
    stale(judged_with(land="25 um"), version="1.1.0", chain=asked)
    stale(judged_with(land="25 um"), version="1.1.0", chain=cut(land="25 um", depth="20 um"))
    stale(judged_with(land="0.025 mm"), version="1.1.0", chain=cut(land="25 um"))
    odd = report().ruleset.model_copy(update={"chain": {"cut": {"land": 13}, "signal": 3}})
    stale(report().model_copy(update={"ruleset": odd}), version="1.1.0", chain=cut(land="25 um"))


@pytest.mark.parametrize(("then", "now"), [("worst", "normal"), ("25 um", "25 dB"), ("25 um", "worst")])
def test_a_chain_with_other_values_is_refused(then, now):
    with pytest.raises(UsageError, match=f"with cut.land {then}, and this with cut.land {now};"):
        stale(judged_with(land=then), version="1.1.0", chain=cut(land=now))


@pytest.mark.parametrize(
    ("then", "more", "part"),
    [
        (
            report(),
            {"ruleset": "disc-12in-45"},
            "it was judged by disc-12in-33@1.1.0, and this by",
        ),
        (report(), {"version": "2.0.0"}, "and this by disc-12in-33@2.0.0; judge the earlier delivery again"),
        (
            report(),
            {"version": "1.1.0", "sha256": "ab" * 32},
            "it was judged by another file called disc-12in-33@1.1.0: give the ruleset a version of its own",
        ),
        (
            judged_with(land="25 um", depth="20 um"),
            {"version": "1.1.0", "chain": cut(land="13 um", depth="20 um")},
            "it was judged with cut.land 25 um, and this with cut.land 13 um; judge the earlier delivery again",
        ),
        (report(sides="AB"), {}, "it has the sides A, B, and this delivery A"),
        (report(sides="B"), {}, "it has the sides B, and this delivery A"),
        (report(sides="B"), {"every_side": False}, "it has the sides B"),
        (report(sides=""), {}, "it has the sides none"),
        (with_tracks({"number": 1}), {}, "side A had 1 track then, and has none"),
        (with_tracks({"number": 1, "audio": "x"}), {}, "side A came as one file a track then"),
        (with_tracks(channels=1), {}, "side A had 1 channel then, and has 2"),
    ],
)
def test_a_stale_report_is_refused(then, more, part):
    with pytest.raises(UsageError, match=r"^first\.json: ") as refused:
        stale(then, **more)
    assert part in str(refused.value)


def test_one_side_of_several_may_be_judged_again():
    stale(report(sides="AB"), every_side=False)


def test_audio_at_fault_has_no_channels_to_compare():
    stale(with_tracks(channels=None))
    stale(report(), A=SideLayout(None, 0, a_file_a_track=False))
