"""`sidegate plan`: what it writes, at which width, by which exit code, and what it refuses."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator

from qc.schemas.build import generated
from support.command import DELIVERY, PINNED, no_constant, one_sentence

SCHEMA = Draft202012Validator(json.loads(generated("plan")))
DISCS = ["12in-33", "12in-45", "10in-33", "10in-45", "7in-45", "7in-33"]


@pytest.fixture
def good(bench):
    bench.deliver()
    return bench


@pytest.fixture
def planned(good):
    """Plan the good delivery and give the JSON: planned("--split")."""

    def run(*words, code=0):
        ran = good.run("plan", good.folder, "--out", "json=-", *words)
        assert ran.code == code, ran.err
        plan = json.loads(ran.out, parse_constant=no_constant)
        SCHEMA.validate(plan)
        return plan

    return run


def test_every_disc_is_compared_in_one_pass(planned):
    plan = planned()
    assert (plan["disc"], plan["ruleset"]["name"]) == ("12in-33", "disc-12in-33")
    assert [side["id"] for side in plan["sides"]] == ["A", "B"]
    for side in plan["sides"]:
        assert side["passes"] == 1
        assert [row["disc"] for row in side["formats"]] == DISCS
        assert [row["planned"] for row in side["formats"]] == [True] + [False] * 5
        assert [row["ruleset"] for row in side["formats"]][1] == "disc-12in-45@3.2.0"
        assert {row["fit"] for row in side["formats"]} == {"fits"}
        assert side["declared"] == {"value": 0.0, "unit": "dB"}
        assert [row["key"] for row in side["sensitivity"]].count("cut.depth") == 2
        assert sum(row["own"] for row in side["sensitivity"]) == 4
        assert side["reordered"] is None
    assert plan["breaks"] is None


def test_the_plan_says_what_the_check_says(good, planned):
    """The level, the limit that rules, the end and the level on the disc are those of each side at its own level."""
    good.deliver(PINNED.replace("    cut_level: 0 dB\n", "") + "levels: each\n")
    checked = good.check().report
    for side, other in zip(planned()["sides"], checked["sides"], strict=True):
        row = side["formats"][0]
        assert row["recommended"] == other["levels"]["recommended"]
        assert row["ruling"] == other["levels"]["ruling"]
        assert row["last_diameter"]["value"] == pytest.approx(other["geometry"]["last_diameter_mm"], abs=1e-9)
        on_disc = other["measurements"]["groove.level_on_disc"]
        assert row["level_on_disc"]["value"] == pytest.approx(on_disc["value"])


def test_the_text_is_readable_at_80_columns(good):
    ran = good.run("plan", good.folder, "--split", "--reorder")
    assert ran.code == 0
    text = ran.out.decode()
    assert text.startswith("PLAN for 12in-33: Quiet Harbour\n")
    for word in (*DISCS, "12in-33 *", "tip radius 8 um *", "depth fixed", "BREAKS of 3 tracks", "A1 to B"):
        assert word in text
    assert max(map(len, text.splitlines())) <= 80
    assert good.run("plan", good.folder, "--ascii").out.isascii()
    assert ran.sentences == ["sidegate: reading side A", "sidegate: reading side B"]


def test_a_file_and_stdout_at_once(good):
    ran = good.run("plan", good.folder, "--out", "text=-", "--out", f"json={good.output / 'plan.json'}")
    assert (ran.code, ran.left) == (0, ["plan.json"])
    assert ran.out.startswith(b"PLAN for 12in-33")
    SCHEMA.validate(json.loads((good.output / "plan.json").read_bytes()))


def test_breaks_run_through_all_sides(planned):
    breaks = planned("--split")["breaks"]
    assert (breaks["tracks"], breaks["exact"]) == (3, True)
    (one,) = breaks["splits"][0]["sides"]
    assert [(track["side"], track["number"]) for track in one["tracks"]] == [("A", 1), ("A", 2), ("B", None)]
    for count, split in enumerate(breaks["splits"], 1):
        assert len(split["sides"]) == count
        assert split["worst"]["value"] == min(side["recommended"]["value"] for side in split["sides"])
        assert [track for side in split["sides"] for track in side["tracks"]] == one["tracks"]
    assert len(planned("--split", "--most", "1")["breaks"]["splits"]) == 1


def test_another_order_is_a_suggestion(planned):
    for side in planned("--reorder")["sides"]:
        assert side["reordered"]["wins"]["value"] >= 0.0
    plan = planned("--reorder", "--split")
    assert plan["sides"][0]["reordered"] is None
    assert all(side["reordered"] for split in plan["breaks"]["splits"] for side in split["sides"])


def test_another_disc_than_its_own(good, planned):
    good.deliver(DELIVERY)
    plan = planned("--disc", "7in-45")
    assert (plan["disc"], plan["ruleset"]["name"]) == ("7in-45", "disc-7in-45")
    assert plan["sides"][0]["formats"][0]["disc"] == "7in-45"
    assert {row["disc"] for row in plan["sides"][0]["formats"]} == set(DISCS)


def test_one_side_alone(planned):
    assert [side["id"] for side in planned("--side", "B")["sides"]] == ["B"]


def test_a_side_that_fits_nowhere_is_planned_all_the_same(good):
    """On a disc of next to no recorded surface no level fits; the plan was worked out, so that it ends with 0."""
    ran = good.run("plan", good.folder, "--chain", "disc.outer=120.6mm", "--out", "json=-")
    assert ran.code == 0
    row = json.loads(ran.out)["sides"][0]["formats"][0]
    assert (row["disc"], row["fit"], row["recommended"]["bound"]) == ("12in-33", "too_long", "<")
    assert row["ruling"] == "groove.last-diameter-too-small/least"


def test_audio_at_fault_leaves_the_other_sides(good):
    (good.folder / "side-a.wav").unlink()
    ran = good.run("plan", good.folder, "--out", "json=-", "--split")
    assert ran.code == 1
    plan = json.loads(ran.out)
    assert [bool(side["fault"]) for side in plan["sides"]] == [True, False]
    assert plan["breaks"] is None
    assert "sidegate: side A was not planned: side-a.wav is not there" in ran.sentences
    assert b"not planned: side-a.wav is not there" in good.run("plan", good.folder).out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--disc", "12in-78"], 'there is no such disc; did you mean "12in-'),
        (["--disc", "12in-45", "--ruleset", "disc-12in-33"], "not allowed with argument"),
        (["--most", "2"], "give --split too"),
        (["--split", "--most", "0"], "not a number of sides"),
        (["--side", "C"], "the delivery has no such side"),
        (["--out", "sheet=x.html"], 'there is no format "sheet"'),
        (["--out", "json"], "write it as FORMAT=PATH"),
        (["--ruleset", "disc-10in-33"], "the delivery is for 12in at 33"),
        (["--chain", "cut.land=-1um"], "without land two turns run into each other"),
    ],
)
def test_words_that_cannot_be_used(good, words, says):
    good.deliver(DELIVERY)
    assert says in one_sentence(good.run("plan", good.folder, *words))


def test_nothing_is_written_over_the_delivery(good):
    assert "belongs to the delivery" in one_sentence(
        good.run("plan", good.folder, "--out", f"json={good.folder / 'side-a.wav'}")
    )
    assert "has no name" in one_sentence(good.run("plan", ""))


def test_two_plans_are_the_same_but_for_the_run(planned):
    first, second = (planned("--split", "--reorder") for _ in range(2))
    assert first.pop("run")
    assert second.pop("run")
    assert first == second
