"""`--chain KEY=VALUE`: the value counts for one run, every report says so, and what cannot be is refused."""

from __future__ import annotations

import json

import pytest

from support.command import DELIVERY, one_sentence

LINE = "chain changed for this run: cut.land 10 um (ruleset: 13 um)"


@pytest.fixture
def good(bench, shared_store):
    bench.deliver()
    bench.environment["SIDEGATE_STORE"] = shared_store
    return bench


@pytest.mark.parametrize("value", ["10um", "10 um", "0.01mm"])
def test_a_changed_value_counts_and_is_told(good, value):
    plain = good.check().report
    ran = good.check("--chain", f"cut.land={value}", "--out", f"text={good.folder / 'report.txt'}",
                     "--out", f"sheet={good.folder / 'sheet.md'}")  # fmt: skip
    row = ran.report["ruleset"]["chain"]["cut"]["land"]
    assert (row["source"], row["was"]) == ("command line", "13 um")
    assert ran.report["sides"][0]["measurements"]["groove.land_min"]["value"] == pytest.approx(10.0, abs=0.1)
    travel = [report["sides"][0]["geometry"]["travel_mm"] for report in (plain, ran.report)]
    assert travel[1] < travel[0]
    written = row["value"]
    assert (
        f"chain changed for this run: cut.land {written} (ruleset: 13 um)" in (good.folder / "report.txt").read_text()
    )
    assert f"cut.land {written}" in (good.folder / "sheet.md").read_text().replace("\\", "")
    assert ran.report["ruleset"]["sha256"] == plain["ruleset"]["sha256"]  # the file is what it was


def test_every_text_says_so(good):
    words = ("--chain", "cut.land=10um")
    for command in (["check", good.folder], ["check", good.folder, "--quiet"], ["plan", good.folder]):
        assert LINE in good.run(*command, *words).out.decode()
        assert "chain changed" not in good.run(*command).out.decode()


def test_the_value_it_has_anyway_is_no_change(good):
    report = good.check("--chain", "cut.land=13um").report
    assert report["ruleset"] == good.check().report["ruleset"]


def test_several_values_at_once(good):
    report = good.check("--chain", "cut.top_width=40um", "--chain", "cut.keep_width=35um").report
    cut = report["ruleset"]["chain"]["cut"]
    assert [cut[name]["value"] for name in ("top_width", "keep_width")] == ["40 um", "35 um"]


def test_a_signal_that_changes_is_heard(good):
    words = ("--chain", "signal.bass_mono=300Hz")
    plain, changed = good.check().report, good.check(*words).report
    name = "groove.low_vertical_peak"
    values = [report["sides"][0]["measurements"][name]["value"] for report in (plain, changed)]
    assert values[1] < values[0]
    ran = good.run("plan", good.folder, "--out", "json=-", *words)
    assert {row["fit"] for row in json.loads(ran.out)["sides"][0]["formats"]} == {"fits"}  # changed for every disc


def test_the_disc_is_changed_for_the_planned_one_alone(good):
    def ends(*words):
        plan = json.loads(good.run("plan", good.folder, "--out", "json=-", *words).out)
        return [row["last_diameter"]["value"] for row in plan["sides"][0]["formats"]]

    plain, changed = ends(), ends("--chain", "disc.outer=250mm")
    assert changed[0] == pytest.approx(plain[0] - 42.6, abs=0.2)
    assert changed[1:] == plain[1:]


REFUSED = [
    ("cut.land=-5um", '"-5 um" is out of bounds; it must be 1 to 200 um (without land two turns run into each other)'),
    ("cut.land=5", '"5" has no unit, and um is needed; write a number and its unit, um'),
    ("cut.land=wide", '"wide" is not a number with a unit'),
    ("cut.land=", "write it as KEY=VALUE"),
    ("cut.land", "write it as KEY=VALUE"),
    ("land=5um", 'the chain has no value "land"; did you mean "cut.land"?'),
    ("cut.lnad=5um", 'did you mean "cut.land"?'),
    ("cut.depth=deep", '"deep" must be one of variable, fixed'),
    ("cut.preview=1turn", "a whole turn later the groove beside it is cut"),
    ("cut.preview=-0.1turn", "it must be 0 below 1 turn"),
    ("cut.keep_width=60um", "60 um is wider than the top width it is kept of"),
    ("cut.top_width=20um", "cut.keep_width: 30 um is wider than the top width"),
    ("cut.nominal_depth=20um", "20 um is too shallow for a groove 56 um wide"),
    ("cut.max_pitch=60um", "60 um is less than one groove and its land, 69 um"),
    ("disc.outer=100mm", "disc.finishing: the finishing groove must lie inside the outer diameter"),
    ("disc.finishing=149cm", "no finishing groove lies further in or out"),
    ("playback.tip_radius=40um", "a tip of 40 um touches the walls 56.6 um apart, which is wider than the groove"),
    ("playback.tip_radius=0um", "no stylus is slimmer"),
    ("playback.back_angle=90deg", "it must be 10 to 80 deg"),
    ("signal.top=4kHz", "it must be 8 to 20 kHz"),
    ("signal.subsonic=0Hz", "it must be 2 to 40 Hz"),
    ("signal.cutter_pole=-1us", "a time constant is never negative"),
    ("cut.polarity=both", "must be one of normal, inverted, worst"),
]


@pytest.mark.parametrize(("word", "says"), REFUSED)
def test_what_cannot_be_is_refused_by_its_option(good, word, says):
    sentence = one_sentence(good.run("check", good.folder, "--chain", word))
    assert f"--chain {word.partition('=')[0]}" in sentence
    assert says in sentence


def test_a_value_given_twice(good):
    ran = good.run("check", good.folder, "--chain", "cut.land=1um", "--chain", "cut.land=2um")
    assert "cut.land is changed twice" in one_sentence(ran)


def test_a_delivery_that_names_its_disc_alone(good):
    good.deliver(DELIVERY)
    assert LINE in good.run("check", good.folder, "--chain", "cut.land=10um").out.decode()
