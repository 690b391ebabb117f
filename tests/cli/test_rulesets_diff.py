"""`sidegate rulesets diff`: what it writes, at which width, by which exit code, and what it refuses."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator

from qc.schemas.build import generated
from support.command import DELIVERY, no_constant, one_sentence

SCHEMA = Draft202012Validator(json.loads(generated("rulesets-diff")))
HOUSE = """\
schema: 1
name: house
version: 1.0.0
extends: disc-12in-33@1.1.0
limits:
  groove.last-diameter-too-small:
    least: {warn: 130 mm, fail: 125 mm, sets_level: warn, source: "house: desk notes"}
measures:
  house.quiet-side:
    measure: loudness.integrated
    at_least: {warn: -6 LUFS, source: "house: intake sheet 2"}
    why: Quiet sides show surface noise.
    remedy: Ask for a louder copy.
off: {level.clipped: our limiter sees to it}
"""
PAIR = ("disc-12in-33@1.0.0", "disc-12in-33@1.1.0")


@pytest.fixture
def house(bench):
    bench.deliver(DELIVERY)
    path = bench.folder / "house.yaml"
    path.write_text(HOUSE)
    return path


@pytest.fixture
def found(bench):
    """Compare and give the JSON: found("A", "B", "--on", "D")."""

    def run(*words, code=0):
        ran = bench.run("rulesets", "diff", *words, "--out", "json=-")
        assert ran.code == code, ran.err
        told = json.loads(ran.out, parse_constant=no_constant)
        SCHEMA.validate(told)
        return told

    return run


def test_a_delivery_that_was_heard_is_not_heard_again_and_its_waivers_hold(bench, house):
    waiver = "{check: level.clipped, reason: the fuzz, owner: the band, expires: 2999-12-31}"
    bench.deliver(DELIVERY.replace("    audio:", f"    waivers: [{waiver}]\n    audio:", 1))
    bench.run("rulesets", "diff", "disc-12in-33", house, "--on", bench.folder)
    ran = bench.run("rulesets", "diff", "disc-12in-33", house, "--on", bench.folder)
    assert ran.code == 0
    assert "reading side" not in ran.err


def test_a_ruleset_that_can_judge_nothing_is_not_compared(bench, house):
    house.write_text(HOUSE.replace("off: {level.clipped:", "off: {level.cliped:"))
    ran = bench.run("rulesets", "diff", "disc-12in-33@1.1.0", house)
    assert ran.code == 2
    assert 'no check is called "level.cliped"; did you mean "level.clipped"?' in ran.err


def test_two_released_versions(found):
    told = found(*PAIR)
    assert [told[one]["version"] for one in ("before", "after")] == ["1.0.0", "1.1.0"]
    assert (told["release"]["kind"], told["release"]["promised"], told["release"]["keeps"]) == ("minor", "minor", True)
    assert {row["change"] for row in told["limits"]} == {"added"}
    assert {row["change"] for row in told["checks"]} == {"on"}
    assert told["compared"] is None
    back = found(*reversed(PAIR))
    assert (back["release"]["kind"], back["release"]["promised"]) == ("major", None)
    assert {row["change"] for row in back["checks"]} == {"off"}


def test_two_files_that_say_the_same_are_a_patch_release_and_one_file_is_none(bench, found):
    two, same = ("disc-12in-33@2.0.0", "disc-12in-33@2.0.1"), ("disc-12in-33@2.0.1", "disc-12in-33@2.0.1")
    assert [found(*pair)["release"]["kind"] for pair in (two, same)] == ["none", "none"]
    first, second = (bench.run("rulesets", "diff", *pair).out.decode().splitlines()[1] for pair in (two, same))
    assert first == "  a patch release: no value differs, the files do"
    assert second == "  no release: nothing differs"


def test_a_house_file_against_what_it_extends(found, house):
    told = found("disc-12in-33@1.1.0", house)
    assert [(one["name"], one["version"]) for one in told["after"]["extends"]] == [("disc-12in-33", "1.1.0")]
    rows = {row["limit"]: row for row in told["limits"]}
    row = rows["groove.last-diameter-too-small/least"]
    assert row["change"] == "tightened"
    assert (row["before"]["warn"], row["after"]["warn"]) == ("120.65 mm", "130 mm")
    assert (row["before"]["source"], row["after"]["source"]) == ("2b", "house: desk notes")
    assert row["after"]["origin"] == "house.yaml:7"
    assert {row["check"]: (row["change"], row["reason"]) for row in told["checks"]} == {
        "house.quiet-side": ("on", ""), "level.clipped": ("off", "our limiter sees to it"),
    }  # fmt: skip
    assert told["release"]["kind"] == "major"
    assert told["release"]["promised"] is None  # they are not two versions of one


def test_the_text_says_it_all_within_the_width(bench, house):
    ran = bench.run("rulesets", "diff", "disc-12in-33@1.1.0", house)
    text = ran.out.decode()
    assert (ran.code, ran.err) == (0, "")
    assert text.startswith("RULESETS disc-12in-33@1.1.0 and house@1.0.0\n  a major release: ")
    for word in (
        "groove.last-diameter-too-small/least is tightened", "before  warn 120.65 mm, fail 115 mm", "house.yaml:7",
        "house.quiet-side is judged", "level.clipped is judged no longer: our limiter sees to it",
    ):  # fmt: skip
        assert word in text
    assert max(map(len, text.splitlines())) <= 96
    assert bench.run("rulesets", "diff", "disc-12in-33@1.1.0", house, "--ascii").out.isascii()


def test_on_a_delivery_both_judge_it(bench, found, house):
    told = found("disc-12in-33@2.0.1", house, "--on", bench.folder)["compared"]
    rows = {(row["side"], row["check"]): (row["before"], row["after"]) for row in told["outcomes"]}
    for side in ("A", "B"):
        assert rows[side, "house.quiet-side"] == (None, "warn")
        assert rows[side, "level.clipped"] == ("pass", None)
    assert [level["side"] for level in told["levels"]] == ["A", "B"]
    assert all(level["before"]["value"] >= level["after"]["value"] for level in told["levels"])
    assert told["unsaid"] == []
    text = bench.run("rulesets", "diff", "disc-12in-33@2.0.1", house, "--on", bench.folder).out.decode()
    assert "side A  house.quiet-side: not judged, then warn" in text
    assert "ON Quiet Harbour, judged by both" in text


def test_on_a_report_nothing_is_heard(bench, found, house):
    bench.check("--ruleset", "disc-12in-33")
    told = found("disc-12in-33", house, "--on", bench.report)["compared"]
    rows = {(row["side"], row["check"]): (row["before"], row["after"]) for row in told["outcomes"]}
    assert rows["A", "house.quiet-side"] == (None, "warn")
    assert told["verdict_after"] is None
    unsaid = {(one["side"], one["what"]) for one in told["unsaid"]}
    assert {("A", "recommended level"), ("B", "recommended level"), (None, "places of findings")} <= unsaid
    (bench.folder / "side-a.wav").unlink()
    ran = bench.run("rulesets", "diff", "disc-12in-33", house, "--on", bench.report)
    assert (ran.code, ran.err) == (0, "")
    assert b"NOT IN THE REPORT" in ran.out
    assert b"by the numbers of report.json" in ran.out


def test_a_file_and_stdout_at_once(bench):
    ran = bench.run("rulesets", "diff", *PAIR, "--out", "text=-", "--out", f"json={bench.output / 'diff.json'}")
    assert (ran.code, ran.left) == (0, ["diff.json"])
    assert ran.out.startswith(b"RULESETS disc-12in-33@1.0.0")
    SCHEMA.validate(json.loads((bench.output / "diff.json").read_bytes()))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["disc-12in-33"], "the following arguments are required: B"),
        (["disc-12-33", "disc-12in-33"], 'no ruleset is called "disc-12-33"; did you mean "disc-12in-33"?'),
        (["disc-12in-33", "none.yaml"], "none.yaml: there is no such file"),
        ([*PAIR, "--on", ""], "the file has no name"),
        ([*PAIR, "--on", "none.json"], "none.json: there is no such file; check the name of the JSON report"),
        ([*PAIR, "--on", "nowhere"], "nowhere"),
        (["disc-12in-33", "disc-12in-45", "--on", "."], "the delivery is for 12in at 33"),
        ([*PAIR, "--out", "sheet=x.html"], 'there is no format "sheet"'),
        (["disc-12in-33", "house.yaml", "--out", "json=house.yaml"], "belongs to the delivery"),
    ],
)  # fmt: skip
def test_words_that_cannot_be_used(bench, house, words, says):
    assert says in one_sentence(bench.run("rulesets", "diff", *words))


def test_the_list_is_as_it_was(bench):
    assert bench.run("rulesets").out.startswith(b"RULESET ")
    assert one_sentence(bench.run("rulesets", "dif"))


def test_the_schema_of_rulesets_takes_one_that_extends(house):
    from ruamel.yaml import YAML

    schema = Draft202012Validator(json.loads(generated("ruleset")))
    data = YAML(typ="safe", pure=True).load(HOUSE)
    schema.validate(data)
    schema.validate({**data, "chain": {"cut": {"land": {"value": "16 um", "source": "V-7"}}}})
    for change in (
        {"chain": {"cut": {"land": {"value": "16 um"}}}},
        {"chain": {"cut": {"lnd": {"value": "16 um", "source": "V-7"}}}},
        {"chain": {"cutt": {}}},
        {"measures": {"house.quiet": {"measure": "loudness.integrated"}}},
        {"extends": None},
    ):
        assert not schema.is_valid({**data, **change}), change
    del data["extends"]
    assert not schema.is_valid(data)
