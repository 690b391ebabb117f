"""The recommended level for each tip of a ruleset, through the command, against runs with that tip in the chain."""

from __future__ import annotations

import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from qc.cli.main import main
from qc.schemas.build import generated
from qc.testing.deliveries import Sent, deliver
from qc.testing.deliveries import judge as judged_anew
from support.houses import Houses
from support.signals import tone

RATE = 44_100
OF_TIP = """\
off:
  groove.drive-too-high: "house: the head is cooled"
  groove.slope-too-steep: "house: the cutter has steeper edges"
"""
"""Both would limit treble so high before the tip does, this far out on a side."""
OWN_TIPS = (
    OF_TIP
    + """\
tips:
  spherical: {radius: 15 um, source: "house: desk notes"}
"""
)


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    """A free side of treble in bursts that grow: a rounder tip bridges more of it."""
    x = np.zeros(round(12.0 * RATE))
    for number in range(10):
        burst = (0.02 + 0.006 * number) * tone(14_000.0, 0.7, RATE, 1.0, fade=0.02)
        at = round((1.0 + number) * RATE)
        x[at : at + burst.size] += burst
    return deliver(tmp_path_factory.mktemp("treble"), {"A": Sent(np.vstack([x, x]), RATE, coding="PCM_24")})


def store_of(delivery):
    return ["--cache", str(delivery.with_name("store"))]


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    """A ruleset that leaves the level to the tip."""
    houses = Houses(tmp_path_factory.mktemp("house"))
    return str(houses.put_at("house.yaml", "house@1.0.0", OF_TIP, "disc-12in-33@3.0.0"))


def judge(delivery, out, *words):
    return judged_anew(delivery, out, *store_of(delivery), *words)


def test_each_tip_has_the_level_of_a_run_with_that_tip(delivery, house, tmp_path):
    levels = judge(delivery, tmp_path / "r.json", "--ruleset", house).side()["levels"]
    assert [(row["tip"], row["size"], row["own"]) for row in levels["by_tip"]] == [
        ("spherical", "18 um", False), ("elliptical", "8 x 18 um", True), ("line contact", "5 um", False),
    ]  # fmt: skip
    reached = [row["recommended"]["value"] for row in levels["by_tip"]]
    assert reached == sorted(set(reached))  # a slimmer tip allows more here
    for row in levels["by_tip"]:
        radius = f"{row['radius']['value']:g}um"
        words = ["--ruleset", house, "--chain", f"playback.tip_radius={radius}"]
        run = judge(delivery, tmp_path / f"{radius}.json", *words)
        under = run.side()["levels"]
        assert row["recommended"] == under["recommended"]
        assert row["ruling"] == under["ruling"]
        assert row["last_diameter"]["value"] == pytest.approx(run.value("groove.last_diameter"), abs=1e-9)


def test_every_format_states_them(delivery, house, tmp_path):
    places = {"text": "r.txt", "html": "r.html", "sheet": "s.md", "json": "r.json"}
    outs = [word for name, place in places.items() for word in ("--out", f"{name}={tmp_path / place}")]
    main(["check", str(delivery), "--ruleset", house, *outs, *store_of(delivery)])
    said = {name: " ".join((tmp_path / place).read_text("utf-8").split()) for name, place in places.items()}
    report = json.loads(said["json"])
    Draft202012Validator(json.loads(generated("report"))).validate(report)
    assert report["ruleset"]["tips"]["line contact"] == {"value": "5 um", "source": "G-15"}
    spherical, own, slim = (row["recommended"]["value"] for row in report["sides"][0]["levels"]["by_tip"])
    line = f"with a spherical 18 um tip {spherical:+.1f} dB, line contact 5 um {slim:+.1f} dB"
    assert line in said["text"]
    assert line in said["html"]
    assert "Recommended level by tip" in said["html"]
    assert f"spherical 18 um: {spherical:+.1f} dB, ends at" in said["sheet"].replace("\\", "")
    assert f"elliptical 8 x 18 um (as judged): {own:+.1f} dB" in said["sheet"].replace("\\", "")


def test_a_side_that_no_tip_moves_has_no_line(tmp_path):
    x = 0.3 * tone(200.0, 5.0, RATE, 1.0, fade=0.5)
    sent = deliver(tmp_path / "low", {"A": Sent(np.vstack([x, x]), RATE, coding="PCM_24")})
    main(["check", str(sent), "--out", f"text={tmp_path / 'r.txt'}", "--out", f"json={tmp_path / 'r.json'}"])
    rows = json.loads((tmp_path / "r.json").read_text())["sides"][0]["levels"]["by_tip"]
    assert len({row["recommended"]["value"] for row in rows}) == 1
    assert " tip " not in (tmp_path / "r.txt").read_text()


@pytest.mark.parametrize("ruleset", ["disc-12in-33@2.0.1", "disc-12in-33@1.1.0"])
def test_rulesets_that_name_no_tip_have_neither_table_nor_list(delivery, tmp_path, ruleset):
    report = judge(delivery, tmp_path / "r.json", "--ruleset", ruleset).report
    assert "tips" not in report["ruleset"]
    assert "by_tip" not in report["sides"][0]["levels"]


def test_a_house_with_a_tip_of_its_own_reads_its_level(delivery, tmp_path):
    path = str(Houses(tmp_path).put_at("house.yaml", "house@1.0.0", OWN_TIPS, "disc-12in-33@3.0.0"))
    row = judge(delivery, tmp_path / "r.json", "--ruleset", path).side()["levels"]["by_tip"][0]
    words = ["--ruleset", path, "--chain", "playback.tip_radius=15um"]
    under = judge(delivery, tmp_path / "u.json", *words).side()["levels"]
    assert (row["size"], row["recommended"]) == ("15 um", under["recommended"])


def test_a_tip_too_wide_for_the_groove_has_no_level_and_says_why(delivery, tmp_path):
    words = ["--chain", "cut.top_width=25um", "--chain", "cut.keep_width=20um"]
    spherical, _, slim = judge(delivery, tmp_path / "r.json", *words).side()["levels"]["by_tip"]
    assert spherical["recommended"] is None
    assert "too wide" in spherical["reason"]
    assert slim["recommended"] is not None


def test_the_plan_names_the_tips(delivery, house, tmp_path):
    outs = ["--out", f"json={tmp_path / 'p.json'}", "--out", f"text={tmp_path / 'p.txt'}"]
    main(["plan", str(delivery), "--ruleset", house, *store_of(delivery), *outs])
    side = json.loads((tmp_path / "p.json").read_text())["sides"][0]
    rows = [row for row in side["sensitivity"] if row["key"] == "playback.tip_radius"]
    assert [(row["name"], row["value"]) for row in rows] == [
        ("spherical", "18 um"), ("elliptical", "8 um"), ("line contact", "5 um"),
    ]  # fmt: skip
    by_tip = judge(delivery, tmp_path / "r.json", "--ruleset", house).side()["levels"]["by_tip"]
    assert [row["recommended"] for row in rows] == [row["recommended"] for row in by_tip]
    written = (tmp_path / "p.txt").read_text()
    assert [row["size"] for row in rows] == [row["size"] for row in by_tip]
    assert all(f"tip {row['name']} {row['size']} " in written for row in rows)
    main(["plan", str(delivery), *store_of(delivery), *outs[:2], "--ruleset", "disc-12in-33@2.0.1"])
    old = json.loads((tmp_path / "p.json").read_text())["sides"][0]["sensitivity"]
    assert all("name" not in row for row in old)


def test_ruleset_diff_shows_tips_and_that_they_move_no_level(house, tmp_path, capfd):
    path = str(Houses(tmp_path).put_at("house.yaml", "house@1.0.1", OWN_TIPS, "disc-12in-33@3.0.0"))
    assert main(["rulesets", "diff", house, path]) == 0
    said = " ".join(capfd.readouterr().out.split())
    assert "tips.spherical 18 um (G-13) 15 um (house: desk notes)" in said
    assert "tips.spherical is stated otherwise, and moves no level" in said
