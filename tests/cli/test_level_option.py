"""`--level VALUE`: how it may be written, what it beats, how it is judged, and that every report says so."""

from __future__ import annotations

import json
from xml.etree import ElementTree as ET

import pytest
import soundfile

from qc import api
from qc.cli.main import main
from qc.judge.level_option import read_level
from qc.model.errors import UsageError
from support.command import RATE, one_sentence, programme

ABOVE = "groove.level-above-recommended"
FREE = """\
schema: 1
title: Quiet Harbour
ruleset: disc-12in-33@2.0.0
disc: {size: 12in, speed: 33}
sides:
  - {id: A, audio: side-a.wav}
  - {id: B, audio: side-b.wav}
"""
SPELLINGS = (["--level", "-6 dB"], ["--level=-6dB"], ["--level", "-6dB"], ["--level", "-6"], ["--level", "-.6e1dB"])


@pytest.fixture
def two(bench, shared_store):
    """A delivery of two free sides, B 5 dB quieter, so that it may be cut that much hotter."""
    bench.deliver(FREE, audio=False)
    bench.environment["SIDEGATE_STORE"] = shared_store
    for side, peak in (("a", 0.7), ("b", 0.4)):
        soundfile.write(bench.folder / f"side-{side}.wav", programme(4.0, peak=peak), RATE, subtype="PCM_24")
    return bench


def levels(ran):
    return {side["id"]: side["levels"] for side in ran.report["sides"]}


def judged(ran):
    return {side: found["judged"]["value"] for side, found in levels(ran).items()}


@pytest.mark.parametrize("words", SPELLINGS)
def test_every_spelling_of_a_level_is_read(two, words):
    ran = two.check(*words)
    assert judged(ran) == {"A": -6.0, "B": -6.0}
    assert ran.report["level"] == "-6 dB"


@pytest.mark.parametrize(("words", "level"), [(["+2 dB"], 2.0), (["0"], 0.0), (["-40"], -40.0), (["20 dB"], 20.0)])
def test_levels_are_read_as_numbers_in_db(words, level):
    assert read_level(*words) == level
    assert read_level(level) == level


@pytest.mark.parametrize(
    "value", ["", "-41", "20.1 dB", "nan", "inf", "-6 dBFS", "6 um", "loud", "clen", "1e999", "-" * 9000, "- 6 dB"]
)
def test_what_is_no_level_is_refused(value):
    with pytest.raises(UsageError, match=r"^--level: "):
        read_level(value)


def test_a_wrong_level_is_one_sentence(two):
    for command in ("check", "plan"):
        for value in ("-41", "clen"):
            ran = two.run(command, ".", "--level", value)
            assert "--level" in one_sentence(ran)
    assert 'did you mean "clean"?' in ran.err


def test_the_levels_by_name_are_those_of_the_report(two):
    plain = two.check()
    assert plain.report["level"] is None
    plain = levels(plain)
    for name in ("recommended", "clean"):
        assert judged(two.check("--level", name)) == {side: one[name]["value"] for side, one in plain.items()}
    lowest = min(one["recommended"]["value"] for one in plain.values())
    assert judged(two.check("--level", "release")) == {"A": lowest, "B": lowest}


def test_a_level_is_judged_against_the_recommended_one_and_leaves_what_was_declared(two):
    two.deliver(FREE.replace("side-a.wav}", "side-a.wav, cut_level: -1 dB}"), audio=False)
    plain = two.check()
    own = levels(plain)["B"]["recommended"]["value"]
    assert plain.result(ABOVE, "B")["outcome"] == "not_applicable"
    hot = two.check("--level", f"{own + 3.0:.1f} dB")
    assert hot.result(ABOVE, "B")["outcome"] == "fail"
    over = hot.report["sides"][1]["measurements"]["groove.level_over_recommended"]["value"]
    assert over == pytest.approx(3.0, abs=1e-9)
    assert levels(hot)["A"]["declared"]["value"] == -1.0
    assert levels(hot)["B"]["declared"] is None
    for name in ("clean", "recommended", "release"):
        assert two.check("--level", name).result(ABOVE, "B")["outcome"] == "pass"


def test_a_level_beats_a_cut_level_to_the_same_numbers(two):
    """Judging at --level is judging a delivery that asks for it, but for what the report says of the request."""
    by_option = two.check("--level", "-3 dB").report
    two.deliver(FREE.replace("wav}", "wav, cut_level: -3 dB}"), audio=False)
    by_papers = two.check().report
    for one, other in zip(by_option["sides"], by_papers["sides"], strict=True):
        assert one["measurements"] == other["measurements"]
        assert one["geometry"] == other["geometry"]
    for one, other in zip(by_option["results"], by_papers["results"], strict=True):
        assert (one["check"], one["outcome"], one["measured"]) == (other["check"], other["outcome"], other["measured"])


def test_every_report_says_that_the_level_was_chosen(two):
    names = ("text", "html", "sheet", "note", "junit", "sarif")
    places = [word for name in names for word in ("--out", f"{name}={two.output / name}")]
    two.run("check", ".", "--level", "-6 dB", *places)
    found = {name: (two.output / name).read_text() for name in names}
    for name in ("text", "html", "sheet", "sarif"):
        assert "every side is judged at -6 dB, by --level" in found[name], name
    assert "cut at -6.0 dB (side A) and -6.0 dB (side B)" in found["note"]
    facts = [one.get("value") for one in ET.fromstring(found["junit"]).iter("property") if one.get("name") == "level"]
    assert facts == ["judged at -6.0 dB, by --level"] * 2


def test_no_report_speaks_of_a_level_that_nobody_chose(two):
    names = ("text", "html", "sheet", "note", "junit", "sarif")
    places = [word for name in names for word in ("--out", f"{name}={two.output / name}")]
    two.run("check", ".", *places)
    assert not any("by --level" in (two.output / name).read_text() for name in names)


def test_equal_bytes_with_a_store_and_without(two):
    two.environment["SIDEGATE_STORE"] = str(two.store)  # which is empty
    words = ("--level", "-3.3 dB", "--reproducible")
    first = two.check(*words).report
    assert two.check(*words).report == first
    assert two.check(*words, "--no-cache").report == first


def test_a_plan_gives_the_planned_disc_at_a_level(two):
    """Where a side ends at a level is what `check` finds there."""
    checked = two.check("--level", "-3 dB").report
    ran = two.run("plan", ".", "--level", "-3 dB", "--out", f"json={two.output / 'plan.json'}")
    assert ran.code == 0, ran.err
    planned = json.loads((two.output / "plan.json").read_bytes())
    assert planned["level"] == "-3 dB"
    for one, other in zip(planned["sides"], checked["sides"], strict=True):
        assert one["at_level"]["last_diameter"]["value"] == pytest.approx(other["geometry"]["last_diameter_mm"])
        assert one["at_level"]["fits"] == (other["levels"]["recommended"]["value"] >= -3.0)
        assert bool(one["at_level"]["broken"]) != one["at_level"]["fits"]


def test_a_plan_of_one_side_at_the_release_level_measures_the_other(two):
    plain = two.check().report
    ran = two.run("plan", ".", "--side", "B", "--level", "release", "--out", f"json={two.output / 'plan.json'}")
    assert ran.code == 0, ran.err
    (side,) = json.loads((two.output / "plan.json").read_bytes())["sides"]
    assert side["at_level"]["level"]["value"] == plain["discs"][0]["release"]["value"]


def test_options_take_a_number_too(two):
    report = api.check(two.folder, api.Options(level=-6.0))
    assert [side.levels.judged.value for side in report.sides] == [-6.0, -6.0]
    with pytest.raises(UsageError, match="out of reach"):
        api.check(two.folder, api.Options(level=-40.5))
    assert report.level == "-6 dB"


def test_what_stands_behind_two_hyphens_is_no_level(capsys):
    """Both words are then deliveries, of which there may be one."""
    with pytest.raises(SystemExit) as ended:
        main(["check", "--", "--level", "-6dB"])
    assert ended.value.code == 2
    assert "unrecognized arguments: -6dB" in capsys.readouterr().err


def test_a_plan_counts_a_house_limit_on_minutes_as_check_does(two):
    """4 s take no room, so the limit asks for a chart of 24 minutes: only a quieter side has one."""
    house = two.folder / "house.yaml"
    house.write_text(
        "schema: 1\nname: house\nversion: 1.0.0\nextends: disc-12in-33@2.0.0\nlimits:\n  layout.side-too-long:\n"
        "    over: {warn: -24 min, fail: -23 min, sets_level: warn, source: practice}\n"
    )
    words = ["--ruleset", str(house)]
    checked = levels(two.check(*words, "--level", "recommended"))
    assert {side["ruling"] for side in checked.values()} == {"layout.side-too-long/over"}
    out = two.folder / "plan.json"
    two.run("plan", two.folder, *words, "--level", "recommended", "--out", f"json={out}")
    planned = {side["id"]: side for side in json.loads(out.read_text())["sides"]}
    for name, side in checked.items():
        assert planned[name]["at_level"]["level"]["value"] == side["recommended"]["value"]
        assert planned[name]["at_level"]["fits"]
    release = min(side["recommended"]["value"] for side in checked.values())
    alone = two.check(*words, "--side", "A").report["sides"][0]["levels"]
    assert alone["release"]["value"] == release  # the other side of the disc counts with its minutes too
    two.run("plan", two.folder, *words, "--split", "--out", f"json={out}")
    assert "layout.side-too-long/over left out: the loudness of a part was not measured" in out.read_text()
