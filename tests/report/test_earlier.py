"""An earlier report is read back, also one of before there were waivers; anything else is one sentence."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.files.json_pieces import PiecesError, items, members
from qc.judge.baseline import earlier
from qc.judge.baseline.earlier import read_baseline, read_report
from qc.model.errors import UsageError
from qc.report.json import json_bytes


@pytest.fixture
def kept(tmp_path, report):
    def keep(change=dict.copy):
        data = json.loads(json_bytes(report))
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
    with pytest.raises(UsageError, match="this is no JSON object"):
        read_report(path)


def test_no_file_and_no_plain_one(tmp_path):
    with pytest.raises(UsageError, match="there is no such file"):
        read_report(tmp_path / "none.json")
    with pytest.raises(UsageError, match="this is a folder, not a JSON report; name the JSON report itself"):
        read_report(tmp_path)


def test_what_is_too_large_is_no_report(kept, monkeypatch):
    monkeypatch.setattr(earlier, "LARGEST", 100)
    with pytest.raises(
        UsageError, match=r"larger than 100 bytes, so it cannot be a JSON report; .*judge the earlier delivery again"
    ):
        read_report(kept())


# -- reports of a hostile sender -----------------------------------------------------------------------------------

SPEND = """
import resource, sys
from pathlib import Path
from qc.model.errors import UsageError
from qc.judge.baseline import compare as baseline
from qc.judge.baseline.earlier import read_baseline

before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
for path in sys.argv[1:]:
    try:
        report = read_baseline(Path(path))
        now = [one.model_copy() for result in report.results for one in result.findings][:100]
        then = [one for result in report.results for one in result.findings]
        baseline.matched(now, then, ["side"] * len(now), ["side"] * len(then))
        print("read", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
    except UsageError:
        print("refused", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
    report = now = then = None
"""
ALLOWED = 64 * 1024
"""KiB that a baseline may cost, of whatever it holds"""
ROOM = 10 << 20
HEAD = '{"schema":1,"tool":"x","verdict":"pass","results":'


def spent(*paths):
    """What became of each report, read one after another in a process of their own, and the most KiB up to there."""
    done = subprocess.run(
        [sys.executable, "-c", SPEND, *map(str, paths)], capture_output=True, text=True, check=True, timeout=60
    )
    return [(word, int(kilobytes)) for word, kilobytes in map(str.split, done.stdout.splitlines())]


def many(text, room=ROOM - 1000):
    return ",".join([text] * (room // (len(text.encode()) + 1)))


HOSTILE = {
    "empty objects": lambda: f"{HEAD}[{many('{}')}]}}",
    "numbers": lambda: f"{HEAD}[{many('1')}]}}",
    "empty texts": lambda: f"{HEAD}[{many(chr(34) * 2)}]}}",
    "brackets that never end": lambda: HEAD + "[" * (ROOM - 1000),
    "brackets": lambda: HEAD + "[" * (ROOM // 2 - 1000) + "]" * (ROOM // 2 - 1000) + "}",
    "one long text": lambda: f'{HEAD}"{"a" * (ROOM - 1000)}"}}',
    "one long text of escapes": lambda: f'{HEAD}"{chr(92) * 2 * (ROOM // 2 - 1000)}"}}',
    "one long key": lambda: f'{HEAD}[],"{"k" * (ROOM - 1000)}":1}}',
    "a text that never ends": lambda: f'{HEAD}"{"a" * (ROOM - 1000)}',
    "many keys": lambda: f"{HEAD}[]," + ",".join(f'"{i:x}":{{}}' for i in range(900_000)) + "}",
    "a number of a million digits": lambda: f'{HEAD}[],"sides":{"9" * 1_000_000}}}',
    "blanks": lambda: HEAD + " " * (ROOM - 1000),
}


LEFT_TO_THE_LONG_RUN = {"numbers", "empty texts", "brackets that never end", "one long text", "many keys"}


@pytest.mark.parametrize(
    "kinds",
    [
        pytest.param([kind for kind in HOSTILE if kind not in LEFT_TO_THE_LONG_RUN], id="one of each"),
        pytest.param(sorted(LEFT_TO_THE_LONG_RUN), marks=pytest.mark.long, id="more"),
    ],
)
def test_hostile_reports_cost_no_more_than_64_mebibytes(tmp_path, kinds):
    paths = []
    for kind in kinds:
        paths.append(tmp_path / f"{kind}.json")
        paths[-1].write_text(HOSTILE[kind](), encoding="utf-8")
        size = paths[-1].stat().st_size
        assert ROOM - 200_000 < size <= ROOM or kind in {"many keys", "a number of a million digits"}
    for kind, (word, kilobytes) in zip(kinds, spent(*paths), strict=True):
        assert (kind, word, kilobytes < ALLOWED) == (kind, "refused", True)


def crowd(report, count, **changes):
    """Give a report with results of checks of their own, each with so many findings of next to nothing."""
    data = json.loads(json_bytes(report))
    finding = next(one for result in data["results"] for one in result["findings"])
    finding |= {
        "message": "",
        "remedy": "",
        "measured": "",
        "limit": None,
        "margin": None,
        "remedies": [],
        "sources": [],
    }
    empty = {**data["results"][0], "measured": {}, "reason": "", "findings": []}
    data["results"], room = [], ROOM - 50_000 - len(json.dumps(data, ensure_ascii=False))
    for i in range(10_000):
        found = {**finding, "check": f"a.x{i}", **changes}
        result = {**empty, "check": f"a.x{i}", "findings": [found] * count}
        room -= len(json.dumps(result, ensure_ascii=False).encode())
        if room < 0:
            break
        data["results"].append(result)
    return data


CROWDS = [(1, {}), (3000, {})]
MORE_CROWDS = [(100, {}), (1, {"message": "a" * 300_000 + "\U0001f30a"}), (1, {"sources": [""] * 3000})]


@pytest.mark.parametrize("crowds", [CROWDS, pytest.param(MORE_CROWDS, marks=pytest.mark.long)], ids=["ends", "more"])
def test_reports_of_crowds_cost_no_more_either(tmp_path, report, crowds):
    paths = [tmp_path / f"{i}.json" for i in range(len(crowds))]
    for path, (count, changes) in zip(paths, crowds, strict=True):
        path.write_text(json.dumps(crowd(report, count, **changes), ensure_ascii=False), encoding="utf-8")
    costs = [kilobytes for _, kilobytes in spent(*paths)]
    assert len(costs) == len(crowds)
    assert max(costs) < ALLOWED


def test_a_report_of_thousands_of_findings_is_read(tmp_path, report):
    """As ten sides have that are cut so hot that nearly every limit fails everywhere: 40 results of 100 findings."""
    data = crowd(report, 0)
    full = json.loads(json_bytes(report))
    finding = max(
        (one for result in full["results"] for one in result["findings"]), key=lambda one: len(json.dumps(one))
    )
    data["results"] = [
        {**data["results"][0], "check": f"a.x{i}", "findings": [{**finding, "check": f"a.x{i}"}] * 100}
        for i in range(40)
    ]
    path = tmp_path / "first.json"
    path.write_text(json.dumps(data), encoding="utf-8")
    ((word, kilobytes),) = spent(path)
    assert (word, kilobytes < ALLOWED) == ("read", True)
    assert sum(len(result.findings) for result in read_baseline(path).results) == 4000


@pytest.mark.parametrize(
    "change",
    [
        lambda results: results.append(results[0]),
        lambda results: [one.update(check="a.b") for result in results for one in result["findings"]],
    ],
    ids=["a check and side twice", "findings of another check"],
)
def test_results_that_no_run_gives_are_refused(kept, change):
    with pytest.raises(UsageError, match="it holds what no report does"):
        read_baseline(kept(lambda data: change(data["results"])))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
def test_pieces_are_what_a_parser_finds(value):
    """Against Python's own JSON: members and items, of compact and of spaced text."""
    for text in (json.dumps(value), json.dumps(value, indent=2, ensure_ascii=False)):
        if isinstance(value, dict):
            pieces = {json.loads(key): json.loads(one) for key, one in members(text.encode("utf-8", "replace"), 10**6)}
            assert pieces == json.loads(text.encode("utf-8", "replace"))
        elif isinstance(value, list):
            pieces = [json.loads(one) for one in items(text.encode("utf-8", "replace"), 10**6)]
            assert pieces == json.loads(text.encode("utf-8", "replace"))
        else:
            with pytest.raises(PiecesError):
                list(items(text.encode("utf-8", "replace"), 10**6))
