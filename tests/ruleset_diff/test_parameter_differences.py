"""Parameters in two rulesets: what differs, by its type, and the kind of release that it takes."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator

import qc_rulesets
import qc_standard
from qc.plugin_host.host import Host
from qc.report.text.ruleset_diff import ruleset_diff_text
from qc.ruleset_diff.compare import differences
from qc.schemas.build import generated
from support import house_catalogue
from support.house_catalogue import CHECK, SOURCE, put
from support.houses import Houses

HOST = Host.build((), extra=[("standard", qc_standard), ("rulesets", qc_rulesets), ("catalogue", house_catalogue)])
SCHEMA = Draft202012Validator(json.loads(generated("rulesets-diff")))
MOST = f"{{value: 8, {SOURCE}}}"
CHANGES = {
    "another value": ({}, {"grade": f"{{value: warn, {SOURCE}}}"}, [("grade", "changed")], "minor"),
    "another pattern": ({}, {"pattern": f"{{value: ^QH, {SOURCE}}}"}, [("pattern", "changed")], "minor"),
    "one more": ({}, {"most_tracks": MOST}, [("most_tracks", "added")], "minor"),
    "one less": ({"most_tracks": MOST}, {}, [("most_tracks", "removed")], "major"),
    "another source": ({}, {"grade": "{value: fail, source: practice}"}, [("grade", "words")], "patch"),
    "another unit of the same value": ({}, {"shortest": f"{{value: 0.1 s, {SOURCE}}}"}, [], "none"),
    "digits of a text": (
        {"forbidden": f"{{value: 007, {SOURCE}}}"}, {"forbidden": f"{{value: 7, {SOURCE}}}"},
        [("forbidden", "changed")], "minor",
    ),
}  # fmt: skip


@pytest.fixture
def houses(tmp_path):
    return Houses(tmp_path)


@pytest.mark.parametrize(("before", "after", "rows", "kind"), CHANGES.values(), ids=CHANGES)
def test_a_change_is_minor_a_removal_major_and_a_source_a_patch(houses, before, after, rows, kind):
    diff = differences(*(houses.load(put(houses, f"{n}.yaml", **own)) for n, own in enumerate((before, after))), HOST)
    SCHEMA.validate(json.loads(diff.model_dump_json()))
    found = [(row.parameter, row.change) for row in diff.parameters]
    assert found == [(f"{CHECK}/{key}", change) for key, change in rows]
    assert (diff.release.kind, diff.limits, diff.checks) == (kind, (), ())


def test_the_text_shows_both_values_with_source_and_line(houses):
    before = houses.load(put(houses, "a.yaml"))
    diff = differences(before, houses.load(put(houses, "b.yaml", grade="{value: warn, source: practice}")), HOST)
    text = ruleset_diff_text(diff).decode()
    for words in (
        "a minor release: no limit differs", f"- {CHECK}/grade is changed", "PARAMETERS\n",
        "    before  fail; source house: label guide 4; a.yaml:9\n", "    after   warn; source practice; b.yaml:9\n",
    ):  # fmt: skip
        assert words in text


def test_a_check_that_is_put_off_is_one_difference(houses):
    put(houses, "house/1.0.0.yaml")
    off = houses.load(houses.put("off@1.0.0", f"off: {{{CHECK}: another label}}\n", "house@1.0.0"))
    diff = differences(houses.load("house@1.0.0"), off, HOST)
    assert [(reason.kind, reason.says) for reason in diff.release.reasons] == [
        ("major", f"{CHECK} is no longer judged"),
    ]
