"""SARIF against its official schema, against rules of its text that no schema holds, and against the report."""

from __future__ import annotations

import json
from urllib.parse import unquote, urlsplit

import pytest
from jsonschema import Draft4Validator

import qc_standard
from qc.judge.engine import exit_code
from qc.model.report import LeftOut
from qc.report.sarif.renderer import Sarif
from support.npm import carried
from support.reports import HOSTILE, eventful, finding, hostile, report, result, side, written

MANY = [eventful(), report([side()], [result("groove.cut-too-deep", "pass")]), report([], []), *map(hostile, HOSTILE)]


@pytest.fixture(scope="module")
def schema(tmp_path_factory):
    folder = tmp_path_factory.mktemp("npm")
    text = carried("@microsoft/jest-sarif@1.0.0-beta.0", "lib/schemas/sarif-2.1.0-rtm.5.json", folder)
    return Draft4Validator(json.loads(text), format_checker=Draft4Validator.FORMAT_CHECKER)


def read(one, **how):
    log = json.loads(written(Sarif(**how), one))
    assert log["version"] == "2.1.0"
    (run,) = log["runs"]
    return run


def of(run, check):
    return [row for row in run["results"] if row["ruleId"] == check]


@pytest.mark.npm
@pytest.mark.parametrize("one", MANY)
def test_it_keeps_to_the_schema(schema, one):
    schema.validate(json.loads(written(Sarif(), one)))


@pytest.mark.parametrize("one", MANY)
def test_it_keeps_to_what_only_the_text_of_the_standard_says(one):
    """Levels of kinds, unique ids, indices that lead to what they name, braces and links in messages, relative URIs."""
    run = read(one)
    rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    taxa = [taxon["id"] for taxonomy in run.get("taxonomies", ()) for taxon in taxonomy["taxa"]]
    assert len(set(rules)) == len(rules)
    assert len(set(taxa)) == len(taxa)
    for row in run["results"]:
        assert (row["level"] == "none") == (row["kind"] != "fail")
        assert rules[row["ruleIndex"]] == row["ruleId"]
        assert all(taxa[taxon["index"]] == taxon["id"] for taxon in row.get("taxa", ()))
        text = row["message"]["text"]
        assert text
        assert "{" not in text.replace("{{", "")
        assert "}" not in text.replace("}}", "")
        assert "](" not in text.replace("\\](", "")
        for place in row["locations"]:
            artifact = place["physicalLocation"]["artifactLocation"]
            assert run["artifacts"][artifact["index"]]["location"]["uri"] == artifact["uri"]
    for artifact in run["artifacts"]:
        parts = urlsplit(artifact["location"]["uri"])
        assert (parts.scheme, parts.netloc, parts.query, parts.fragment) == ("", "", "", "")


def test_every_check_has_a_result_of_its_kind_but_one_that_broke():
    run = read(eventful())
    kinds = {check: {row["kind"] for row in of(run, check)} for check in ("groove.slope-too-steep", "level.clipped")}
    assert kinds == {"groove.slope-too-steep": {"pass"}, "level.clipped": {"fail"}}
    assert [row["kind"] for row in of(run, "groove.level-above-recommended")] == ["notApplicable"]
    assert [row["kind"] for row in of(run, "layout.lead-out-room")] == ["open"]
    assert [row["level"] for row in of(run, "groove.cut-too-deep")] == ["error", "warning"]
    assert of(run, "house.broken") == []


def test_a_plugin_that_broke_is_told_once_with_its_rule():
    (invocation,) = read(eventful())["invocations"]
    told = invocation["toolExecutionNotifications"]
    assert (invocation["executionSuccessful"], invocation["exitCode"]) == (False, 3)
    assert [one.get("associatedRule", {}).get("id") for one in told] == ["house.broken", None, "house.lost"]
    assert all(one["level"] == "error" for one in told)


@pytest.mark.parametrize(("verdict", "strict", "code"), [("pass", True, 0), ("warn", False, 0), ("warn", True, 1),
                                                         ("fail", False, 1)])  # fmt: skip
def test_the_exit_code_is_the_commands(verdict, strict, code):
    (invocation,) = read(report([side()], [], verdict=verdict), strict=strict)["invocations"]
    assert (invocation["executionSuccessful"], invocation["exitCode"]) == (True, code)


@pytest.mark.parametrize("strict", [False, True])
@pytest.mark.parametrize("severity", ["fail", "warn"])
@pytest.mark.parametrize("mark", ["new", "unchanged"])
def test_the_exit_code_is_the_commands_where_only_what_is_new_counts(mark, severity, strict):
    found = result("groove.cut-too-deep", severity, finding("groove.cut-too-deep", severity, baseline=mark))
    one = report([side()], [found], verdict=severity, baseline=eventful().baseline)
    (invocation,) = read(one, strict=strict, only_new=True)["invocations"]
    assert invocation["exitCode"] == exit_code(one, strict=strict, only_new=True)
    assert invocation["exitCode"] == int(mark == "new" and (strict or severity == "fail"))


def test_a_finding_lies_on_its_line_or_on_that_of_its_sides_audio():
    run = read(eventful())
    lines = [row["locations"][0]["physicalLocation"]["region"]["startLine"] for row in of(run, "groove.cut-too-deep")]
    assert lines == [6, 9]
    (passed,) = of(run, "groove.slope-too-steep")
    assert passed["locations"][0]["physicalLocation"]["region"] == {"startLine": 6}
    assert run["artifacts"][0]["location"]["uri"] == "delivery.yaml"


def test_place_and_numbers_are_beside_it():
    row = of(read(eventful()), "groove.cut-too-deep")[0]
    known = row["properties"]
    assert (known["time"], known["track"], known["radius_mm"], known["margin"]) == ("1:16.000", 1, 100.5, -3.0)
    assert known["measured"] == {"value": 130.0, "unit": "um"}
    assert (known["limit"]["warn"], known["limit"]["fail"]) == (0.0, 127.0)
    assert list(row["partialFingerprints"].values()) == [finding("groove.cut-too-deep", "fail").fingerprint]


def test_waivers_suppress_and_a_baseline_is_told():
    run = read(eventful())
    (waived,) = of(run, "level.clipped")
    (suppression,) = waived["suppressions"]
    assert (suppression["kind"], suppression["status"]) == ("external", "accepted")
    assert suppression["justification"] == "M. Reed: meant as an effect (delivery.yaml:31)"
    states = {row["ruleId"]: row.get("baselineState") for row in run["results"]}
    assert states["hf.sibilance-or-cymbals-too-strong"] == "absent"
    assert [row["baselineState"] for row in of(run, "groove.cut-too-deep")] == ["new", "unchanged"]


def test_what_became_of_the_earlier_findings_is_counted():
    one = eventful()
    lost = one.baseline.gone[0]
    left = LeftOut(check="level.clipped", side="A", then=1, now=5)
    baseline = one.baseline.model_copy(update={"not_judged": (lost,) * 2, "unsure": (lost,) * 3, "left_out": (left,)})
    known = read(one.model_copy(update={"baseline": baseline}))["properties"]["baseline"]
    assert {name: known[name] for name in ("new", "asBefore", "mended", "notJudged", "unsure")} == {
        "new": 1, "asBefore": 4, "mended": 1, "notJudged": 2, "unsure": 3,
    }  # fmt: skip
    (words,) = known["leftOut"]
    assert words.startswith("level.clipped on A: ")
    assert known["otherLevels"] == []


def test_rules_have_the_checks_words_and_sources_are_taxa():
    run = read(eventful())
    words = next(check for check in qc_standard.qc_checks() if check.id == "groove.cut-too-deep")
    rule = next(rule for rule in run["tool"]["driver"]["rules"] if rule["id"] == words.id)
    assert rule["shortDescription"]["text"] == words.title
    assert rule["fullDescription"]["text"] == words.why
    assert words.remedy in rule["help"]["text"]
    (taxonomy,) = run["taxonomies"]
    assert [taxon["id"] for taxon in taxonomy["taxa"]] == ["G-6", "house: desk notes", "practice"]
    assert taxonomy["taxa"][0]["fullDescription"]["text"]
    assert run["tool"]["driver"]["supportedTaxonomies"] == [{"name": taxonomy["name"], "index": 0}]


def test_artifacts_have_the_digests_of_the_report():
    one = eventful()
    hashes = [artifact["hashes"]["sha-256"] for artifact in read(one)["artifacts"]]
    assert hashes == [one.delivery.sha256, one.sides[0].audio.sha256]
    (_, missing) = read(report([side(measured=False)], []))["artifacts"]
    assert "hashes" not in missing


def test_a_file_name_comes_back_from_its_uri():
    name = "a b:c#d?é%41.wav"
    assert unquote(read(report([side(file=name)], []))["artifacts"][1]["location"]["uri"]) == name
