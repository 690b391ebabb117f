"""Limits bound to checks: the shipped ruleset to the shipped checks, and what does not fit, by file and line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import qc_rulesets
import qc_standard
from qc import api
from qc.groove.level.rows import LevelRow
from qc.judge.bind import bind
from qc.model.errors import PluginError, RulesetError
from qc.plugin_api import Check, Judged, Limit, LimitCheck, Model
from qc.plugin_host.host import Host
from qc.ruleset.find import find
from qc.ruleset.load import RawLimit, Ruleset, load_ruleset
from qc.ruleset.sources import Sources
from support.plugins import PLACE

HOST = Host.build((), extra=[("standard", qc_standard), ("rulesets", qc_rulesets)])
UNITS_ALL = api.units(HOST.needs)


@pytest.fixture(scope="module")
def ruleset():
    return load_ruleset(find("disc-12in-33", HOST.ruleset_folders), Sources(HOST.ruleset_folders))


def with_limits(ruleset: Ruleset, check: str, **limits: RawLimit) -> Ruleset:
    return replace(ruleset, limits={check: limits}, origins={check: "house.yaml:7"})


def refused(ruleset, checks=HOST.checks, units=UNITS_ALL, error=RulesetError):
    with pytest.raises(error) as caught:
        bind(ruleset, checks, units)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def raw(warn: str | None = None, fail: str | None = None, sets: Any = None, line: int = 9) -> RawLimit:
    return RawLimit(warn, fail, "practice", sets, f"house.yaml:{line}")


class MostLimits(Model):
    most: Limit
    floor: Limit | None = None


def made(check_id: str = "house.own-limit", **changes: Any) -> type[Check[Any]]:
    words = dict.fromkeys(("title", "why", "how", "remedy"), "a text")
    body = {"__module__": __name__, "id": check_id, **words, "Limits": MostLimits, "judges": {}, **changes}
    return type("Own", (LimitCheck,), body)


def test_every_shipped_check_is_bound_in_the_units_of_its_measurements(ruleset):
    bound = bind(ruleset, HOST.checks, UNITS_ALL)
    assert [check.id for check in bound.checks] == sorted(ruleset.limits)
    limits = {check.id: check.limits for check in bound.checks}
    assert limits["groove.last-diameter-too-small"].least == Limit(
        warn=120.65,
        fail=115.0,
        unit="mm",
        source="2b",
        sets_level="warn",
        origin=ruleset.limits["groove.last-diameter-too-small"]["least"].origin,
    )
    assert limits["groove.slope-too-steep"].lateral_time.warn == pytest.approx(0.005)
    assert limits["groove.slope-too-steep"].lateral_time.unit == "1"


def test_the_level_search_gets_plain_rows(ruleset):
    rows = {f"{row.check}/{row.key}": row for row in bind(ruleset, HOST.checks, UNITS_ALL).rows}
    assert rows["groove.too-little-land/least"] == LevelRow(
        "groove.too-little-land", "least", "groove.land_min", ">=", 13.0, 0.0, "um", "fail"
    )
    assert rows["stereo.low-end-out-of-phase/excursion"].measure == "groove.low_vertical_peak"
    assert {row.measure.partition(".")[0] for row in rows.values()} == {"groove", "layout"}
    assert len(rows) == 28
    setting = {name for name, row in rows.items() if row.sets_level}
    assert setting == {
        "groove.last-diameter-too-small/least",
        "groove.top-width-too-narrow/least",
        "groove.cut-too-deep/greatest",
        "groove.too-little-land/least",
        "groove.slope-too-steep/lateral_time",
        "groove.slope-too-steep/lateral_time_twice",
        "groove.slope-too-steep/vertical_time",
        "groove.slope-too-steep/vertical_time_twice",
        "groove.slope-too-steep/speed",
        "groove.excursion-too-wide/peak",
        "groove.excursion-too-wide/sustained",
        "groove.curvature-too-tight/time",
        "groove.curvature-too-tight/time_twice",
        "groove.drive-too-high/in_1s",
        "groove.drive-too-high/in_10s",
        "hf.sibilance-or-cymbals-too-strong/time",
        "hf.sibilance-or-cymbals-too-strong/time_twice",
        "layout.lead-out-room/least",
        "stereo.low-end-out-of-phase/excursion",
    }


def test_the_steepest_slope_is_limited_laterally_and_vertically(ruleset):
    rows = {row.measure: row for row in bind(ruleset, HOST.checks, UNITS_ALL).rows}
    sideways, upright = rows["groove.lateral_slope_peak"], rows["groove.vertical_slope_peak"]
    assert sideways.warn == upright.warn == 2.0
    assert sideways.name == upright.name == "groove.slope-too-steep/peak"  # one limit of the ruleset


def test_units_are_converted_to_those_of_the_measurement(ruleset):
    bound = bind(
        with_limits(ruleset, "groove.cut-too-deep", greatest=raw("0.11 mm", "5e-3 in")), HOST.checks, UNITS_ALL
    )
    assert bound.checks[0].limits.greatest.warn == pytest.approx(110.0)
    assert bound.checks[0].limits.greatest.fail == pytest.approx(127.0)
    assert bound.checks[0].limits.greatest.unit == "um"


def test_a_check_that_is_off_is_not_bound(ruleset):
    off = replace(ruleset, off={"groove.cut-too-deep": "thick plates"}, off_origins={"groove.cut-too-deep": "h:1"})
    bound = bind(off, HOST.checks, UNITS_ALL)
    assert "groove.cut-too-deep" not in [check.id for check in bound.checks]
    assert "groove.depth_max" not in [row.measure for row in bound.rows]


@pytest.mark.parametrize(
    ("check", "limits", "says"),
    [
        (
            "groove.cut-to-deep",
            {"greatest": raw("1 um")},
            'house.yaml:7: no check is called "groove.cut-to-deep"; did you mean "groove.cut-too-deep"?',
        ),
        (
            "groove.cut-too-deep",
            {"greatst": raw("1 um")},
            'house.yaml:9: "groove.cut-too-deep" has no limit "greatst"; did you mean "greatest"?',
        ),
        (
            "groove.slope-too-steep",
            {"peak": raw("2")},
            'house.yaml:7: "groove.slope-too-steep" needs the limit "velocity"; add it, or put the check under',
        ),
        (
            "delivery.audio-disagrees",
            {"most": raw("1")},
            '"delivery.audio-disagrees" has no limit "most"; none is known',
        ),
        (
            "groove.cut-too-deep",
            {"greatest": raw("110 g")},
            'of "groove.cut-too-deep": 110 g is an acceleration, and a length is needed, in um',
        ),
        (
            "groove.cut-too-deep",
            {"greatest": raw("110 um", "deep")},
            '"deep" is not a number with a unit',
        ),
        (
            "groove.cut-too-deep",
            {"greatest": raw("127 um", "110 um")},
            "warns above 127 um and already fails above 110 um; exchange the two",
        ),
        (
            "groove.last-diameter-too-small",
            {"least": raw("115 mm", "120 mm")},
            "house.yaml:9: the limit",
        ),
        (
            "groove.last-diameter-too-small",
            {"least": raw("115 mm", "120 mm")},
            "warns below 115 mm and already fails below 120 mm",
        ),
        (
            "groove.cut-too-deep",
            {"greatest": raw("110 um", None, "fail")},
            'sets the level at "fail", which it does not have',
        ),
        (
            "level.true-peak-too-high",
            {"most": raw("0 dBTP", None, "warn")},
            'house.yaml:9: the limit "most" of "level.true-peak-too-high" cannot set the level: level.true_peak does',
        ),
        (
            "groove.level-on-disc-too-low",
            {"least": raw("-6 LU", None, "warn")},
            "cannot set the level: groove.level_on_disc does not get worse as the level rises",
        ),
    ],
)
def test_what_does_not_fit_is_refused_with_file_and_line(ruleset, check, limits, says):
    assert says in refused(with_limits(ruleset, check, **limits))


def test_a_misspelt_check_under_off_is_refused(ruleset):
    off = replace(ruleset, off={"groove.cut-deep": "why"}, off_origins={"groove.cut-deep": "house.yaml:90"})
    assert refused(off).startswith('house.yaml:90: no check is called "groove.cut-deep"; did you mean')


def test_warn_and_fail_may_have_the_same_value(ruleset):
    bind(with_limits(ruleset, "groove.cut-too-deep", greatest=raw("110 um", "0.11 mm")), HOST.checks, UNITS_ALL)


def broken(ruleset, check_id, checks, units):
    """Return the reason why a check is left out, and see that no row of it takes part in the level search."""
    bound = bind(ruleset, checks, units)
    assert (bound.checks, bound.rows) == ((), ())
    assert list(bound.broken) == [check_id]
    with pytest.raises(PluginError, match=f'the check "{check_id}": '):
        bound.refuse_broken()
    return PLACE.sub("", bound.broken[check_id])


def test_a_check_of_an_unpublished_measurement_is_left_out(ruleset):
    units = {name: unit for name, unit in UNITS_ALL.items() if name != "level.true_peak"}
    limits = with_limits(ruleset, "level.true-peak-too-high", most=raw("0 dBTP"))
    sentence = broken(limits, "level.true-peak-too-high", HOST.checks, units)
    assert sentence.startswith('its "most" is compared with "level.true_peak", which nothing installed measures; ')


def test_a_limit_that_only_the_check_reads_keeps_its_unit(ruleset):
    own = made()
    bound = bind(with_limits(ruleset, own.id, most=raw("3 s", "0.5 min")), {own.id: own}, {})
    assert (bound.checks[0].limits.most.warn, bound.checks[0].limits.most.fail) == (3.0, 30.0)
    assert bound.checks[0].limits.most.unit == "s"
    assert bound.checks[0].limits.floor is None
    assert bound.rows == ()


def test_a_limit_that_only_the_check_reads_cannot_set_the_level(ruleset):
    own = made()
    sentence = refused(with_limits(ruleset, own.id, most=raw("3 s", None, "warn")), {own.id: own}, {})
    assert "cannot set the level: it is compared with no measurement" in sentence


def test_a_limit_on_two_kinds_of_number_is_the_plugins_fault(ruleset):
    own = made(judges={"most": Judged("a.length", "<="), "most.other": Judged("a.time", "<=")})
    limits = with_limits(ruleset, own.id, most=raw("3 um"))
    sentence = broken(limits, own.id, {own.id: own}, {"a.length": "um", "a.time": "s"})
    assert sentence == 'its "most" is compared with measurements of different units'


def test_a_check_that_cannot_be_made_is_the_plugins_fault(ruleset):
    def init(self, limits):
        raise KeyError("no such table")

    own = made(__init__=init)
    sentence = broken(with_limits(ruleset, own.id, most=raw("3 s")), own.id, {own.id: own}, {})
    assert sentence == "it cannot be made: KeyError: 'no such table'"


def test_the_shipped_ruleset_fits_the_shipped_checks(ruleset):
    assert Path(ruleset.path).name == "3.2.0.yaml"


def test_a_limit_that_only_the_check_reads_must_have_the_unit_of_the_check(ruleset):
    check = "layout.track-times-disagree"
    bound = bind(with_limits(ruleset, check, start=raw("500 ms", "0.1 min")), HOST.checks, UNITS_ALL)
    start = bound.checks[0].limits.start
    assert (start.warn, start.fail, start.unit) == (pytest.approx(0.5), pytest.approx(6.0), "s")
    sentence = refused(with_limits(ruleset, check, start=raw("3 dB")))
    assert sentence.startswith('house.yaml:9: the limits of "layout.track-times-disagree" do not fit: ')
    assert "3 dB is a level in dB, and a time is needed, in s" in sentence
    sentence = refused(with_limits(ruleset, check, start=raw("3 s", "2 s")))
    assert "it warns above 3 s and already fails above 2 s" in sentence
