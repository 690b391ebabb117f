"""What sets the level of a free side, through the command: shipped rulesets, a house's own, and its policy."""

from __future__ import annotations

import json

import numpy as np
import pytest

from qc.cli.main import main
from qc.testing.deliveries import Sent, deliver
from qc.testing.deliveries import judge as judged_anew
from support.houses import Houses
from support.signals import opposed, tone

RATE = 44_100
LOW_END = "stereo.low-end-out-of-phase"
EXCURSION = f"{LOW_END}/excursion"


def song(seconds=14.0):
    """Bass out of phase in bursts that grow, and short high ones.

    The bass is a tone and its octave that rise together and fall apart, so that it moves twice as far one way as the
    other: its 60 um are reached before the groove gets too deep (from 15 + 2 * 56 um on) or too narrow.
    """
    rng = np.random.default_rng(5)
    x = np.zeros((2, round(seconds * RATE)))
    for number, start in enumerate(np.arange(1.0, seconds - 2.0, 1.5)):
        bass = tone(90.0, 0.7, RATE, 1.0, np.pi / 2.0, 0.2) + tone(180.0, 0.7, RATE, 0.5, np.pi / 2.0, 0.2)
        burst = opposed(0.10 * (1.0 + number / 10.0) * bass)
        at = round(start * RATE)
        x[:, at : at + burst.shape[1]] += burst
    at = round(6.0 * RATE)
    for count in range(6):
        high = 0.03 * rng.uniform(0.8, 1.2) * tone(9_000.0, 0.1, RATE, 1.0, fade=0.02)
        x[:, at + count * RATE : at + count * RATE + high.size] += high
    return x


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    """A side whose level is free."""
    return deliver(tmp_path_factory.mktemp("free"), {"A": Sent(song(), RATE, coding="PCM_24")})


def store_of(delivery):
    """Words of the command that keep what is measured beside the folder of a delivery: it is measured once."""
    return ["--cache", str(delivery.with_name("store"))]


def judge(delivery, out, *words):
    return judged_anew(delivery, out, *store_of(delivery), *words)


@pytest.fixture
def houses(tmp_path):
    return Houses(tmp_path / "house")


def formats(delivery, tmp_path, *words):
    """The report in every format that people read, and the JSON."""
    places = {"text": "r.txt", "verbose": "v.txt", "html": "r.html", "note": "n.md", "json": "r.json"}
    outs = [f"{name}={tmp_path / places[name]}" for name in ("text", "html", "note", "json")]
    main(["check", str(delivery), *[word for out in outs for word in ("--out", out)], *store_of(delivery), *words])
    main(["check", str(delivery), "--verbose", "--out", f"text={tmp_path / 'v.txt'}", *store_of(delivery), *words])
    return {name: (tmp_path / place).read_text(encoding="utf-8") for name, place in places.items()}


def plain(text):
    return " ".join(text.split()).replace("\\", "")


def house_with(houses, body, parent="disc-12in-33@3.0.0"):
    return str(houses.put_at("house.yaml", "house@1.0.0", body, parent))


# -- the low end and the room for the lead-out -------------------------------------------------------------------


def test_version_2_recommends_a_level_at_which_the_low_end_does_not_fail(delivery, tmp_path):
    judged = judge(delivery, tmp_path / "r.json")
    levels = judged.side()["levels"]
    assert judged.report["ruleset"]["version"].startswith("3.")
    assert judged.outcome(LOW_END) != "fail"
    assert levels["fails_at_recommended"] == []
    assert levels["by_limit"][EXCURSION]["level"]["value"] >= levels["edge"]["value"]
    assert levels["edge"] == levels["recommended"]
    assert levels["policy"] == "edge"


def test_a_released_version_1_keeps_its_level_and_every_format_names_what_fails(delivery, tmp_path):
    text = formats(delivery, tmp_path, "--ruleset", "disc-12in-33@1.1.0")
    report = json.loads(text["json"])
    levels = report["sides"][0]["levels"]
    setting = {name for name, limit in report["ruleset"]["limits"].items() if limit["sets_level"]}
    assert EXCURSION not in setting
    lowest = min(levels["by_limit"][name]["level"]["value"] for name in setting if name in levels["by_limit"])
    assert levels["recommended"]["value"] == lowest
    assert levels["fails_at_recommended"] == [EXCURSION]
    sentence = f"it fails {EXCURSION}, because disc-12in-33@1.1.0 does not let this limit set the level"
    for name in ("text", "verbose", "html", "note"):
        assert plain(text[name]).count(sentence) == 1, name


# -- a house's own limits ----------------------------------------------------------------------------------------

UNSET = """\
limits:
  groove.slope-too-steep:
    peak: {warn: 2, fail: 3, source: "house: desk notes"}
    velocity: {warn: 50 cm/s, source: practice}
measures:
  house.swing:
    measure: groove.vertical_up_peak
    at_most: {fail: 60 um, source: "house: desk notes"}
    at_least: {fail: 0.1 um, source: "house: desk notes"}
    why: The head strikes.
    remedy: Cut lower.
"""


@pytest.mark.parametrize("command", ["check", "plan"])
def test_a_limit_of_a_house_that_does_not_set_the_level_is_warned_about_once(delivery, houses, capfd, command):
    """Not the limit the other way round, nor what only warns, nor those that its parent, a shipped 1.1.0, has so."""
    path = house_with(houses, UNSET, "disc-12in-33@1.1.0")
    main([command, str(delivery), "--ruleset", path, *store_of(delivery)])
    said = [line for line in capfd.readouterr().err.splitlines() if "sets_level: fail" in line]
    assert len(said) == 2
    slope, swing = said
    assert "house.yaml:7: groove.slope-too-steep/peak fails above some cut level" in slope
    assert "house.yaml:12: house.swing/at_most fails above some cut level" in swing


def test_shipped_rulesets_are_not_warned_about(delivery, tmp_path, capfd):
    for version in ("1.0.0", "1.1.0", "2.0.0"):
        judge(delivery, tmp_path / "r.json", "--ruleset", f"disc-12in-33@{version}")
    assert "sets_level" not in capfd.readouterr().err


def test_a_limit_without_code_sets_the_level(delivery, houses, tmp_path, capfd):
    body = UNSET.replace("fail: 60 um", "fail: 20 um, sets_level: fail").replace("warn: 2, fail: 3", "warn: 2")
    judged = judge(delivery, tmp_path / "r.json", "--ruleset", house_with(houses, body))
    assert "sets_level" not in capfd.readouterr().err
    assert judged.side()["levels"]["ruling"] == "house.swing/at_most"
    assert judged.outcome("house.swing") == "pass"
    assert judged.value("groove.vertical_up_peak") == pytest.approx(20.0, rel=0.0116)  # 0.1 dB


def test_limits_on_loudness_on_the_disc_and_on_the_level_set_the_level(delivery, houses, tmp_path):
    """Cut 1 dB lower the programme is 1 LU lower on the disc: the level is told by subtraction."""
    plain_side = judge(delivery, tmp_path / "a.json")
    on_disc, level = plain_side.value("groove.level_on_disc"), plain_side.value("groove.judged_level")
    for measure, bound, unit in (("groove.level_on_disc", on_disc - 2.05, "LU"), ("groove.judged_level", -9.0, "dB")):
        body = (
            f"measures:\n  house.loud:\n    measure: {measure}\n    why: It is loud.\n    remedy: Cut lower.\n"
            f'    at_most: {{fail: {bound:.6f} {unit}, sets_level: fail, source: "house: desk notes"}}\n'
        )
        judged = judge(delivery, tmp_path / "b.json", "--ruleset", house_with(houses, body))
        expected = -9.0 if unit == "dB" else level - 2.1
        assert judged.side()["levels"]["recommended"]["value"] == pytest.approx(expected)
        assert judged.outcome("house.loud") == "pass"


# -- the policy --------------------------------------------------------------------------------------------------

MARGIN = 'level:\n  policy: {value: margin, source: "house: desk notes"}\n'


def test_a_margin_lowers_the_level_and_all_that_depends_on_it(delivery, houses, tmp_path):
    """The margin is the parent's, the policy the house's: they are taken leaf by leaf."""
    edge = judge(delivery, tmp_path / "a.json")
    path = house_with(houses, MARGIN)
    free = judge(delivery, tmp_path / "b.json", "--ruleset", path)
    levels = free.side()["levels"]
    assert levels["policy"] == "margin"
    assert levels["edge"] == edge.side()["levels"]["recommended"]
    assert levels["recommended"]["value"] == pytest.approx(levels["edge"]["value"] - 1.0)
    assert levels["judged"]["value"] == levels["recommended"]["value"]
    assert free.value("groove.edge_level") == levels["edge"]["value"]
    assert free.report["ruleset"]["level"] == {
        "policy": {"value": "margin", "source": "house: desk notes"}, "margin": {"value": "1 dB", "source": "practice"},
    }  # fmt: skip
    before = edge.side()["levels"]["budget"]
    assert levels["budget"]["lifted"]["value"] == pytest.approx(before["lifted"]["value"] - 1.0)
    for mine, theirs in zip(levels["budget"]["repairs"], before["repairs"], strict=True):
        assert mine["recommended"]["value"] == pytest.approx(theirs["recommended"]["value"] - 1.0)
        assert mine["wins"] == theirs["wins"]
    asked = levels["edge"]["value"]
    sent = deliver(tmp_path / "asked", {"A": Sent(song(), RATE, coding="PCM_24", more={"cut_level": f"{asked} dB"})})
    hot = judge(sent, tmp_path / "c.json", "--ruleset", path)
    assert hot.value("groove.level_over_recommended") == pytest.approx(1.0)
    text = formats(delivery, tmp_path, "--ruleset", path)
    for name in ("text", "verbose", "html"):
        assert f"1.0 dB below the edge at {asked:+.1f} dB" in plain(text[name]), name


def test_a_plan_recommends_what_the_check_does(delivery, houses, tmp_path):
    path = house_with(houses, MARGIN)
    checked = judge(delivery, tmp_path / "a.json", "--ruleset", path)
    main(["plan", str(delivery), "--ruleset", path, *store_of(delivery), "--out", f"json={tmp_path / 'p.json'}"])
    side = json.loads((tmp_path / "p.json").read_text())["sides"][0]
    own = next(row for row in side["formats"] if row["planned"])
    assert own["recommended"] == checked.side()["levels"]["recommended"]
    assert own["last_diameter"]["value"] == pytest.approx(checked.value("groove.last_diameter"))
    assert all(row["change"]["value"] == 0.0 for row in side["sensitivity"] if row["own"])


def test_a_policy_of_margin_needs_a_margin(delivery, houses, capfd):
    path = house_with(houses, MARGIN, "disc-12in-33@1.1.0")
    assert main(["check", str(delivery), "--ruleset", path, *store_of(delivery)]) == 2
    assert "house.yaml:6: the policy is margin, and no margin is given" in capfd.readouterr().err


def test_ruleset_diff_and_explain_show_the_policy(houses, capfd):
    path = house_with(houses, MARGIN)
    assert main(["rulesets", "diff", "disc-12in-33@2.0.0", path]) == 0
    said = plain(capfd.readouterr().out)
    assert "level.policy edge (practice) margin (house: desk notes)" in said
    assert "level.policy differs, and with it the recommended level" in said
    assert main(["rulesets", "diff", "disc-12in-33@1.1.0", "disc-12in-33@2.0.0"]) == 0
    assert "level.margin none (not stated) 1 dB (practice)" in plain(capfd.readouterr().out)
    assert main(["explain", "level.policy", "--ruleset", path]) == 0
    assert "value margin in house@1.0.0, source house: desk notes" in plain(capfd.readouterr().out)
    assert main(["explain", "groove.edge_level"]) == 0
    capfd.readouterr()


# -- warnings that go at the clean level -------------------------------------------------------------------------


def warnings_that_go(report):
    """Warnings of limits that set the level."""
    return [
        one
        for result in report["results"]
        for one in result["findings"]
        if one["severity"] == "warn" and one["limit"] is not None and one["limit"]["sets_level"] is not None
    ]


def test_warnings_that_go_at_the_clean_level_are_one_line_with_a_count(delivery, tmp_path):
    """Held against the same side cut at that level."""
    text = formats(delivery, tmp_path)
    report = json.loads(text["json"])
    levels, going = report["sides"][0]["levels"], warnings_that_go(report)
    assert len(going) >= 2
    assert sum(result["warnings_gone_at_clean"] for result in report["results"]) == len(going)
    clean = levels["clean"]["value"]
    sent = Sent(song(), RATE, coding="PCM_24", more={"cut_level": f"{clean} dB"})
    at_clean = judge(deliver(tmp_path / "clean", {"A": sent}), tmp_path / "clean.json")
    assert not warnings_that_go(at_clean.report)
    line = (
        f"{len(going)} places lie between warn and fail at {levels['judged']['value']:+.1f} dB; at {clean:+.1f} dB none"
    )
    for name in ("text", "verbose", "html"):
        assert plain(text[name]).count(line) == 1, name
    assert f"{len(going)} places come near what a record can hold" in plain(text["note"])
    messages = {one["message"] for one in going}
    assert all(message in plain(text["verbose"]) for message in messages)
    assert not any(message in plain(text["text"]) for message in messages)
    shown = plain(text["html"])
    assert all(shown.index(line) < shown.index(message) for message in messages)  # they unfold from that line


@pytest.mark.long
def test_what_a_report_leaves_out_is_counted_too(tmp_path):
    """A hundred findings of a check are kept; of more of them the count is still the whole one."""
    seconds, bursts = 190.0, 130
    x = np.zeros((2, round(seconds * RATE)))
    for number in range(bursts):
        burst = opposed(tone(60.0, 0.5, RATE, 0.2 if number else 0.21, fade=0.1))
        at = round((1.0 + 1.4 * number) * RATE)
        x[:, at : at + burst.shape[1]] += burst
    delivery = deliver(tmp_path / "many", {"A": Sent(x, RATE, coding="PCM_24")})
    text = formats(delivery, tmp_path)
    report = json.loads(text["json"])
    low = next(result for result in report["results"] if result["check"] == LOW_END)
    assert low["findings_omitted"] > 0
    excursions = [one for one in low["findings"] if one["measure"] == "groove.low_vertical_peak"]
    assert low["warnings_gone_at_clean"] >= bursts > len(excursions)
    count = sum(result["warnings_gone_at_clean"] for result in report["results"])
    assert f"{count} places lie between warn and fail" in plain(text["text"])


def test_a_side_at_or_below_its_clean_level_has_no_remark(delivery, tmp_path):
    clean = judge(delivery, tmp_path / "a.json").side()["levels"]["clean"]["value"]
    sent = Sent(song(), RATE, coding="PCM_24", more={"cut_level": f"{clean} dB"})
    text = formats(deliver(tmp_path / "clean", {"A": sent}), tmp_path)
    assert not any("between warn and fail" in plain(text[name]) for name in ("text", "verbose", "html"))
