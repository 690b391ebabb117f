"""An earlier report is read back, also one of before there were waivers; anything else is one sentence."""

from __future__ import annotations

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.errors import UsageError
from qc.report import earlier
from qc.report.earlier import read_report
from qc.report.json import written


@pytest.fixture
def kept(tmp_path, report):
    def keep(change=dict.copy):
        data = json.loads(written(report))
        change(data)
        path = tmp_path / "first.json"
        path.write_text(json.dumps(data), encoding="utf-8")
        return path

    return keep


def test_what_was_written_is_read(kept, report):
    assert read_report(kept()) == report


def test_a_report_of_before_there_were_waivers(kept):
    def older(data):
        for key in ("waivers", "baseline"):
            del data[key]
        for result in data["results"]:
            result.pop("findings_waived")
            for finding in result["findings"]:
                for key in ("waived_by", "baseline", "measure", "stretch", "remedies"):
                    del finding[key]

    found = [finding for result in read_report(kept(older)).results for finding in result.findings]
    assert found
    assert {(one.waived_by, one.baseline, one.stretch) for one in found} == {(None, None, None)}


@pytest.mark.parametrize(
    ("change", "part"),
    [
        (lambda data: data.update(schema=2), "it is of schema 2, written by sidegate"),
        (lambda data: data.update(colour="red"), 'this version does not understand "colour"'),
        (lambda data: data["results"][0].update(outcome="good"), 'does not understand "results.0.outcome"'),
        (lambda data: data.pop("results"), "this is not the report of a check"),
        (lambda data: data.clear(), "this is not the report of a check"),
    ],
)
def test_a_report_that_cannot_be_compared(kept, change, part):
    path = kept(change)
    with pytest.raises(UsageError) as refused:
        read_report(path)
    assert str(refused.value).startswith(f"{path}: ")
    assert part in str(refused.value)


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=40))
def test_any_bytes_are_refused(tmp_path, held):
    path = tmp_path / "any.json"
    path.write_bytes(held)
    with pytest.raises(UsageError, match=r"cannot be a report|not the report of a check"):
        read_report(path)


@pytest.mark.parametrize("text", ["[" * 100_000, '{"a":' * 100_000])
def test_brackets_without_end_are_no_trap(tmp_path, text):
    path = tmp_path / "deep.json"
    path.write_text(text)
    with pytest.raises(UsageError, match="this is not JSON"):
        read_report(path)


def test_no_file_and_no_plain_one(tmp_path):
    with pytest.raises(UsageError, match="there is no such file"):
        read_report(tmp_path / "none.json")
    with pytest.raises(UsageError, match="this is not a plain file"):
        read_report(tmp_path)


def test_what_is_too_large_is_no_report(kept, monkeypatch):
    monkeypatch.setattr(earlier, "LARGEST", 100)
    with pytest.raises(UsageError, match="larger than 64 MiB"):
        read_report(kept())
