"""A house's rule on the groove, from the samples to the report: the close turns of a lathe that widens the groove.

A steady in-phase sine moves both walls alike. Where the pitch may not exceed 100 um, two turns 56 um wide that swing by
X leave 100 - 56 - 2 X um of land: X, and with it the level at which 10 um are left, is a closed form.
"""

from __future__ import annotations

import json
import math
from typing import ClassVar

import numpy as np
import pytest

from qc import api
from qc.judge.engine import exit_code
from qc.listen.request import ListenRequest
from qc.model.errors import PluginError
from qc.plugin_api import At, GrooveAt, Judged, LimitCheck, Quantity, Remedy
from qc.plugin_host.spec import hookimpl
from qc.testing.deliveries import Sent, deliver
from qc.where.request import WhereRequest
from support.close_turns import NAME, CloseTurns, CloseTurnsLimits, GrooveReader, TurnLand, counting, host_of
from support.houses import Houses
from support.plugins import hosted, plugin
from support.signals import eq_3

RATE = 48_000
HZ = 100.0
CAP = ("cut.max_pitch=100um",)
LIMITS = (
    'limits:\n  house.close-turns: {least: {warn: 12 um, fail: 10 um, sets_level: fail, source: "house: lathe 2"}}\n'
)
LIMIT = "house.close-turns/least"


def sine(amplitude, seconds=11.0):
    """A sine that swells over three turns: a carriage at its greatest pitch cannot follow a sudden one."""
    t = np.arange(round(seconds * RATE)) / RATE
    fade = np.clip(np.minimum(t / 6.0, (seconds - t) / 0.2), 0.0, 1.0)
    return np.tile(amplitude * np.sin(0.5 * np.pi * fade) ** 2 * np.sin(2.0 * np.pi * HZ * t), (2, 1))


def level_that_leaves(land_um, amplitude):
    """The cut level, dB, at which the sine leaves so much land."""
    velocity = 0.05 * amplitude * 10 ** (18 / 20) * eq_3(1000.0) / eq_3(HZ)
    swing = 1e6 * velocity / (2.0 * np.pi * HZ)
    return 20.0 * math.log10((100.0 - 56.0 - land_um) / 2.0 / swing)


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    return deliver(tmp_path_factory.mktemp("free"), {"A": Sent(sine(0.2), RATE)})


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """Two sides of one disc: B is 3 dB louder."""
    sides = {"A": Sent(sine(0.2), RATE), "B": Sent(sine(0.2 * 10 ** (3 / 20)), RATE)}
    return deliver(tmp_path_factory.mktemp("pair"), sides)


@pytest.fixture
def house(tmp_path):
    return str(Houses(tmp_path / "house").put_at("house.yaml", "house@1.0.0", LIMITS, "disc-12in-33@3.0.0"))


def check(delivery, ruleset, host, **options):
    return api.check(delivery, api.Options(ruleset=ruleset, chain=CAP, **options), host)


def result_of(report, check_id, side="A"):
    return next(result for result in report.results if (result.check, result.side) == (check_id, side))


def test_the_limit_sets_the_level_within_a_step_in_few_calls(delivery, house):
    need, asked = counting()
    report = check(delivery, house, host_of(need))
    assert report.plugin_failures == ()
    (side,) = report.sides
    exact = level_that_leaves(10.0 - 0.01, 0.2)  # 0.01 um of tolerance
    assert side.levels.recommended.value == pytest.approx(math.floor(10.0 * exact) / 10.0)
    assert exact - 0.1 < side.levels.recommended.value <= exact
    assert (side.levels.ruling, side.levels.policy) == (LIMIT, "edge")
    assert side.levels.by_limit[LIMIT].level == side.levels.recommended
    assert side.levels.by_limit[LIMIT].at.radius_mm is not None
    assert side.levels.clean.value <= level_that_leaves(11.99, 0.2)
    assert 8 <= len(asked) <= 16
    assert len(asked) == len(set(asked))
    found = side.measurements[NAME]
    assert found.value == pytest.approx(
        100.0 - 56.0 - 34.0 * 10 ** ((side.levels.judged.value - exact) / 20.0), abs=0.1
    )
    assert (found.at.track, found.at.start_s is None) == (1, False)
    result = result_of(report, "house.close-turns")
    assert result.outcome == "warn"
    (finding,) = result.findings
    assert finding.limit.sets_level == "fail"
    assert finding.location.radius_mm == found.at.radius_mm
    assert finding.location.start_s == found.at.start_s
    assert LIMIT in [line.limit for line in side.levels.budget.limits]
    assert side.levels.budget.ruling == LIMIT


def test_the_level_above_the_recommended_one_fails_and_is_said_to_be_fixed_there(delivery, house):
    need, asked = counting()
    report = check(delivery, house, host_of(need), level=5.0)
    (side,) = report.sides
    assert result_of(report, "house.close-turns").outcome == "fail"
    assert "house.close-turns" in side.levels.fixed_at_recommended
    assert side.levels.requested.value == 5.0
    assert side.levels.recommended.value < 5.0
    assert len(asked) <= 16


def test_the_sides_of_a_disc_share_the_lower_level(pair, house):
    need, asked = counting()
    report = check(pair, house, host_of(need))
    quiet, loud = report.sides
    exact = level_that_leaves(9.99, 0.2)
    assert quiet.levels.recommended.value == pytest.approx(math.floor(10.0 * exact) / 10.0)
    assert loud.levels.recommended.value == pytest.approx(math.floor(10.0 * (exact - 3.0)) / 10.0)
    (disc,) = report.discs
    assert (disc.ruling, disc.release.value) == ("B", loud.levels.recommended.value)
    assert quiet.levels.judged.value == loud.levels.judged.value == disc.release.value
    assert result_of(report, "house.close-turns", "A").outcome == "pass"
    assert len(asked) <= 2 * 16
    alone = check(pair, house, host_of(TurnLand), sides=("A",))  # B decides all the same
    assert alone.sides[0].levels.judged == quiet.levels.judged


def test_without_sets_level_the_groove_is_asked_once_and_at_the_judged_level(delivery, tmp_path):
    body = LIMITS.replace(", sets_level: fail", "")
    ruleset = str(Houses(tmp_path / "plain").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))
    need, asked = counting()
    report = check(delivery, ruleset, host_of(need))
    (side,) = report.sides
    assert asked == [side.levels.judged.value]
    assert LIMIT not in side.levels.by_limit
    assert side.levels.recommended.value > level_that_leaves(10.0, 0.2) + 0.5
    assert result_of(report, "house.close-turns").outcome == "fail"


class Advised(CloseTurns):
    def advise(self, finding, look):
        remedy = Remedy(kind="lower", numbers={"level": look.level_for(finding)})
        return finding.model_copy(update={"remedies": (remedy,)})


@pytest.mark.parametrize("sets_level", [", sets_level: fail", ""])
def test_advice_can_have_the_level_at_which_the_broken_value_holds(sets_level, delivery, tmp_path):
    body = LIMITS.replace(", sets_level: fail", sets_level)
    ruleset = str(Houses(tmp_path / "asking").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))
    report = check(delivery, ruleset, host_of(TurnLand, checks=(Advised,)), level=5.0)
    assert report.plugin_failures == ()
    (finding,) = result_of(report, "house.close-turns").findings
    assert finding.severity == "fail"
    exact = level_that_leaves(10.0 - 0.01, 0.2)  # 0.01 um of tolerance
    assert finding.remedies[0].numbers["level"].value == pytest.approx(math.floor(10.0 * exact) / 10.0)


class AdvisedSwing(LimitCheck[CloseTurnsLimits]):
    """A limit of a house on a number of the groove that the core measures."""

    id, title, why, how, remedy = "house.swing", "Swing", "It swings.", "It looks.", "Cut it lower."
    Limits = CloseTurnsLimits
    judges: ClassVar = {"least": Judged("groove.lateral_displacement_peak", "<=", "the swing")}
    advise = Advised.advise


def test_advice_can_have_the_level_for_a_number_of_the_core(delivery, tmp_path):
    body = 'limits:\n  house.swing: {least: {fail: 17 um, source: "house: lathe 2"}}\n'
    ruleset = str(Houses(tmp_path / "swing").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))
    report = check(delivery, ruleset, host_of(TurnLand, checks=(AdvisedSwing,)), level=5.0)
    (finding,) = result_of(report, "house.swing").findings
    exact = level_that_leaves(10.0, 0.2)  # where the sine swings by (100 - 56 - 10) / 2 um
    assert finding.remedies[0].numbers["level"].value == pytest.approx(exact, abs=0.11)


def test_nothing_else_changes_where_the_limit_does_not_rule(delivery, tmp_path):
    body = LIMITS.replace("warn: 12 um, fail: 10 um", "fail: -200 um")
    ruleset = str(Houses(tmp_path / "loose").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))
    plain = str(Houses(tmp_path / "without").put_at("house.yaml", "house@1.0.0", "", "disc-12in-33@3.0.0"))
    ours, theirs = check(delivery, plain, host_of()), check(delivery, ruleset, host_of(TurnLand))
    own = {"house.turn_land", "house.close_turns"}
    assert ours.sides[0].measurements == {
        name: quantity for name, quantity in theirs.sides[0].measurements.items() if name not in own
    }
    for name in ("judged", "recommended", "edge", "clean", "ruling", "by_tip"):
        assert getattr(ours.sides[0].levels, name) == getattr(theirs.sides[0].levels, name), name
    assert [r for r in theirs.results if not r.check.startswith("house.")] == list(ours.results)


def test_every_tip_of_the_ruleset_is_at_most_at_the_level_that_the_house_allows(delivery, house):
    (side,) = check(delivery, house, host_of(TurnLand)).sides
    assert side.levels.by_tip
    assert all(row.ruling == LIMIT for row in side.levels.by_tip)
    assert {row.recommended.value for row in side.levels.by_tip} == {side.levels.recommended.value}


def test_a_number_that_gets_better_is_the_plugin_s_error_and_sets_no_level(delivery, house):
    def publish(_, result):
        least = min(land for land, _ in result)
        return {NAME: TurnLand().publish(result)[NAME].model_copy(update={"value": -least})}

    need, _ = counting(publish=publish)
    report = check(delivery, house, host_of(need))
    (failure,) = report.plugin_failures
    assert (failure.plugin, failure.stage, failure.side) == ("house", "house.turn-land", "A")
    assert "house.turn_land gets better as the level rises" in failure.message
    assert failure.message.endswith(f"close_turns.py:{TurnLand.evaluate.__code__.co_firstlineno})")
    assert result_of(report, "house.close-turns").outcome == "error"
    assert LIMIT not in report.sides[0].levels.by_limit
    assert report.verdict == "error"
    assert [r.outcome for r in report.results if r.outcome == "error"] == ["error"]


def test_a_need_that_raises_or_changes_its_groove_harms_no_other(delivery, house):
    def raising(_, groove, results):
        raise RuntimeError("the lathe is out")

    def changing(_, groove, results):
        for name in ("land_um", "radius_mm", "level_db"):
            object.__setattr__(groove, name, np.zeros(1))
        return [(5.0, None)]

    class Other(TurnLand):
        id = "house.other"
        publishes: ClassVar[dict[str, str]] = {}

        def publish(self, result):
            return {}

    for method in (raising, changing):
        bad = type("Bad", (Other,), {"evaluate": method})
        report = check(delivery, house, host_of(bad, TurnLand))
        good = check(delivery, house, host_of(TurnLand))
        assert report.sides[0].measurements == good.sides[0].measurements
        assert report.sides[0].levels == good.sides[0].levels
        expected = ["house.other"] if method is raising else []
        assert [failure.stage for failure in report.plugin_failures] == expected


def test_a_check_reads_the_groove_at_the_judged_level(delivery, tmp_path):
    body = LIMITS.replace("house.close-turns", "house.reads-groove").replace(", sets_level: fail", "")
    ruleset = str(Houses(tmp_path / "reads").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))
    report = check(delivery, ruleset, host_of(checks=(GrooveReader,)), level=-3.0)
    result = result_of(report, "house.reads-groove")
    assert result.reason == "cut at -3.0 dB"
    (finding,) = result.findings
    assert finding.measured.value == pytest.approx(report.sides[0].measurements["groove.land_min"].value)


def test_yaml_alone_can_set_the_level_by_a_number_of_the_groove(delivery, tmp_path):
    body = (
        "measures:\n  house.land-of-turns: {measure: house.turn_land, at_least: {fail: 10 um, sets_level: fail, "
        'source: "house: lathe 2"}, why: Turns touch., remedy: Cut it lower.}\n'
    )
    ruleset = str(Houses(tmp_path / "yaml").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))
    report = check(delivery, ruleset, host_of(TurnLand, checks=()))
    assert report.sides[0].levels.ruling == "house.land-of-turns/at_least"
    exact = level_that_leaves(9.99, 0.2)
    assert report.sides[0].levels.recommended.value == pytest.approx(math.floor(10.0 * exact) / 10.0)


def test_a_plan_asks_for_the_level_on_the_planned_disc(delivery, house):
    need, asked = counting()
    options = api.PlanOptions(ruleset=house, chain=CAP)
    plan = api.plan(delivery, options, host_of(need))
    (side,) = plan.sides
    (planned,) = [row for row in side.formats if row.planned]
    exact = level_that_leaves(9.99, 0.2)
    assert planned.ruling == LIMIT
    assert planned.recommended.value == pytest.approx(math.floor(10.0 * exact) / 10.0)
    assert {row.ruling for row in side.formats if not row.planned}.isdisjoint({LIMIT})  # by rulesets of their own
    by_land = {row.value: row for row in side.sensitivity if row.key == "cut.land"}
    assert by_land["25 um"].ruling == by_land["13 um"].ruling == LIMIT  # what the greatest pitch leaves
    assert plan.plugin_failures == ()
    released = api.plan(delivery, api.PlanOptions(ruleset=house, chain=CAP, level="release"), host_of(need))
    assert released.sides[0].at_level.level == planned.recommended
    above = api.plan(delivery, api.PlanOptions(ruleset=house, chain=CAP, level=exact + 0.2), host_of(need))
    assert above.sides[0].at_level.broken == (LIMIT,)
    assert len(asked) > 16


SEVERAL = """\
limits:
  house.close-turns: {least: {warn: 12 um, fail: -20 um, sets_level: fail, source: "house: lathe 2"}}
measures:
  house.aaa:
    measure: house.turn_land
    at_least: {warn: 11 um, fail: -5 um, sets_level: fail, source: "house: lathe 2"}
    why: Turns touch.
    remedy: Cut it lower.
  house.zzz:
    measure: house.turn_land
    at_least: {fail: 10 um, sets_level: fail, source: "house: lathe 2"}
    why: Turns touch.
    remedy: Cut it lower.
"""


def test_the_strictest_of_several_limits_on_one_number_sets_the_level_in_a_check_and_in_a_plan(delivery, tmp_path):
    ruleset = str(Houses(tmp_path / "more").put_at("house.yaml", "house@1.0.0", SEVERAL, "disc-12in-33@3.0.0"))
    need, asked = counting()
    report = check(delivery, ruleset, host_of(need))
    (side,) = report.sides
    exact = level_that_leaves(10.0 - 0.01, 0.2)
    assert side.levels.recommended.value == pytest.approx(math.floor(10.0 * exact) / 10.0)
    assert side.levels.ruling == "house.zzz/at_least"
    assert len(asked) <= 16
    for wanted, broken in ((exact - 0.02, ()), (exact + 0.02, ("house.zzz/at_least",))):
        options = api.PlanOptions(ruleset=ruleset, chain=CAP, level=wanted)
        (planned,) = api.plan(delivery, options, host_of(need)).sides
        assert planned.at_level.broken == broken
        assert planned.at_level.fits == (not broken)
        judged = check(delivery, ruleset, host_of(need), level=wanted)
        failing = {result.check for result in judged.results if result.outcome == "fail"}
        assert {name for name in failing if name.startswith("house.")} == {name.split("/")[0] for name in broken}


def test_a_plan_at_the_clean_level_counts_a_limit_without_a_warn_value_as_a_check_does(delivery, tmp_path):
    """A limit that cannot warn fails where it is broken, and a level at which a limit fails is not clean."""
    land = 'chain:\n  cut:\n    land: {value: 20 um, source: "house: lathe 2"}\n'
    limit = land + LIMITS.replace("warn: 12 um, fail: 10 um", "fail: 14 um")
    ruleset = str(Houses(tmp_path / "more").put_at("house.yaml", "house@1.0.0", limit, "disc-12in-33@3.0.0"))
    exact = level_that_leaves(14.0 - 0.01, 0.2)
    (side,) = check(delivery, ruleset, host_of(TurnLand), level="clean").sides
    assert side.levels.clean.value == pytest.approx(math.floor(10.0 * exact) / 10.0)
    options = api.PlanOptions(ruleset=ruleset, chain=CAP, level="clean")
    (planned,) = api.plan(delivery, options, host_of(TurnLand)).sides
    assert planned.at_level.level == side.levels.judged
    assert LIMIT not in planned.at_level.broken


def test_a_plan_at_a_level_compares_the_number_there_for_each_limit(delivery, tmp_path):
    """A level between those of two limits, neither of which is asked for by itself when the calls are used up."""
    ruleset = str(Houses(tmp_path / "more").put_at("house.yaml", "house@1.0.0", SEVERAL, "disc-12in-33@3.0.0"))
    for land_um, broken in ((10.1, set()), (-4.8, {"house.zzz"}), (-5.2, {"house.zzz", "house.aaa"})):
        options = api.PlanOptions(ruleset=ruleset, chain=CAP, level=level_that_leaves(land_um, 0.2))
        (side,) = api.plan(delivery, options, host_of(TurnLand)).sides
        assert {name.split("/")[0] for name in side.at_level.broken if name.startswith("house.")} == broken


def test_a_need_that_breaks_on_a_disc_of_the_comparison_is_a_failure_of_the_drawing_alone(delivery, tmp_path):
    def evaluate(need, groove, results):
        if groove.chain.disc.size == "7in":
            raise RuntimeError("no sevens here")
        return TurnLand.evaluate(need, groove, results)

    houses = Houses(tmp_path / "house")
    ruleset = str(houses.put_at("house.yaml", "house@1.0.0", LIMITS, "disc-12in-33@3.0.0"))
    own = tmp_path / "own"
    Houses(own).put("disc-7in-45@99.0.0", "serves: {size: 7in, speed: 45}\n" + LIMITS, "disc-7in-45@2.0.0")
    need, _ = counting(evaluate=evaluate)
    checks = [type("CloseTurns", (CloseTurns,), {"needs": (need,)})]
    house = plugin(qc_measures=[need], qc_checks=checks, qc_rulesets=own)
    host = hosted({"house": house})
    options = api.Options(ruleset=ruleset, chain=CAP)
    plain, drawn = api.checked(delivery, options, host), api.checked(delivery, options, host, draws=True)
    assert plain.report.plugin_failures == plain.undrawn == ()
    (failure,) = drawn.undrawn
    assert (failure.plugin, failure.stage, failure.side) == ("house", "house.turn-land", "A")
    assert "no sevens here" in failure.message
    assert drawn.report.results == plain.report.results
    assert drawn.report.verdict == plain.report.verdict
    assert drawn.report.sides[0].levels == plain.report.sides[0].levels


def test_every_format_can_be_written_and_names_the_limit_that_rules(delivery, house, tmp_path, monkeypatch):
    from qc.cli.main import main

    monkeypatch.setattr(api, "build_host", lambda *_: host_of(TurnLand))
    places = {
        "text": "r.txt",
        "html": "r.html",
        "note": "n.md",
        "json": "r.json",
        "sarif": "r.sarif",
        "traces": "t.csv",
    }
    outs = [word for name, place in places.items() for word in ("--out", f"{name}={tmp_path / place}")]
    code = main(["check", str(delivery), "--no-cache", "--ruleset", house, "--chain", CAP[0], *outs])
    assert code == 0
    for name in ("text", "html", "json"):
        text = (tmp_path / places[name]).read_text(encoding="utf-8")
        assert "house.close-turns" in text, name
    assert json.loads((tmp_path / "r.json").read_text())["sides"][0]["levels"]["ruling"] == LIMIT


@pytest.mark.parametrize(
    ("name", "unit"),
    [("level.true_peak", "dBTP"), ("groove.land_min", "um"), ("audio.sample_rate", "Hz"), (NAME, "um")],
)
def test_a_need_that_only_a_check_asks_for_cannot_replace_a_number(name, unit, delivery, tmp_path):
    class Taking(TurnLand):
        id = "house.taking"
        publishes: ClassVar[dict[str, str]] = {name: unit}

        def publish(self, result):
            return {name: Quantity(value=-9.0, unit=unit)}

    body = LIMITS.replace("house.close-turns", "house.reads-groove").replace(", sets_level: fail", "")
    ruleset = str(Houses(tmp_path / "reads").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))
    asking = type("Asking", (GrooveReader,), {"needs": (GrooveAt, Taking)})
    house = plugin(qc_measures=[TurnLand], qc_checks=[asking])
    host = hosted({"house": house})
    report = check(delivery, ruleset, host)
    without = check(delivery, ruleset, host_of(TurnLand, checks=(GrooveReader,)))
    assert report.sides[0].measurements == without.sides[0].measurements
    (failure,) = report.plugin_failures
    assert failure.stage == "house.taking"
    assert failure.message == f'it publishes "{name}", which is published by another need'
    assert exit_code(report) == 3


def overwrite(array):
    """Overwrite an array through a view that claims to be writeable."""
    view = type("View", (), {})()
    memory, _ = array.__array_interface__["data"]
    view.__array_interface__ = {**array.__array_interface__, "data": (memory, False)}
    np.asarray(view)[:] = -77.0


def test_each_reader_of_a_groove_has_memory_of_its_own(delivery, tmp_path):
    def spoil(groove):
        overwrite(groove.land_um)
        overwrite(groove.radius_mm)
        object.__setattr__(groove.chain.disc, "outer", 0.1)

    class Spoiling(TurnLand):
        id = "house.a-spoiling"
        publishes: ClassVar[dict[str, str]] = {}

        def evaluate(self, groove, results):
            spoil(groove)

        def publish(self, result):
            return {}

    class SpoilingReader(GrooveReader):
        id = "house.a-spoiling-reader"

        def evaluate(self, ctx):
            spoil(ctx[GrooveAt])
            return ()

    body = LIMITS.replace("house.close-turns", "house.reads-groove").replace(", sets_level: fail", "")
    line = body.splitlines()[1]
    body += line.replace("house.reads-groove", SpoilingReader.id) + "\n"
    ruleset = str(Houses(tmp_path / "reads").put_at("house.yaml", "house@1.0.0", body, "disc-12in-33@3.0.0"))

    class Harmless(SpoilingReader):
        def evaluate(self, ctx):
            return ()

    def judged(needs, reader):
        house = plugin(qc_measures=needs, qc_checks=[reader, GrooveReader])
        host = hosted({"house": house})
        return check(delivery, ruleset, host)

    spoilt, good = judged([Spoiling, TurnLand], SpoilingReader), judged([TurnLand], Harmless)
    assert spoilt.plugin_failures == ()
    assert spoilt.sides[0].measurements == good.sides[0].measurements
    assert result_of(spoilt, "house.reads-groove") == result_of(good, "house.reads-groove")
    assert result_of(good, "house.reads-groove").findings


class NotLoaded:
    @hookimpl
    def qc_checkz(self):
        return []


@pytest.mark.parametrize("fault", ["the need raises", "the plugin is not loaded"])
def test_without_the_number_of_a_limit_that_sets_the_level_no_side_is_played_or_looked_into(fault, delivery, house):
    def raising(_, groove, results):
        raise RuntimeError("the lathe is out")

    if fault == "the need raises":
        host, sentence = host_of(type("Raising", (TurnLand,), {"evaluate": raising})), "the lathe is out"
    else:
        host = hosted({"house": NotLoaded()})
        sentence = 'the check "house.close-turns": the check is not there'
    options = api.Options(ruleset=house, chain=CAP)
    with pytest.raises(PluginError, match=sentence):
        api.listen(delivery, ListenRequest("A", 7.0, 8.0), options, host)
    with pytest.raises(PluginError, match=sentence):
        api.where(delivery, WhereRequest("A", second=7.0), options, host)


@pytest.mark.parametrize("at", [At(start_s=1e9, end_s=2e9, track=99), At(start_s=-1.0), At(start_s=3.0, end_s=12.0)])
def test_a_place_outside_the_file_is_the_plugin_s_error(at, delivery, house):
    def publish(_, result):
        return {NAME: TurnLand().publish(result)[NAME].model_copy(update={"at": at})}

    report = check(delivery, house, host_of(type("Placing", (TurnLand,), {"publish": publish})))
    (failure,) = report.plugin_failures
    assert failure.stage == "house.turn-land"
    assert "outside the file, which has 11 s" in failure.message
    assert NAME not in report.sides[0].measurements
