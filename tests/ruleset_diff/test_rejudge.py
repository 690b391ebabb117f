"""What a stored report tells of another ruleset is what judging by that ruleset says; the rest is left unsaid."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from qc import api
from qc.model.errors import UsageError
from qc.report.json import json_bytes
from qc.testing.deliveries import Sent, deliver
from support.houses import PARENT, Houses

RATE = 48_000
QUIET = (
    "measures: {house.quiet-side: {measure: loudness.integrated, at_least: {warn: -16 LUFS, fail: -24 LUFS, "
    "source: practice}, why: Why., remedy: Remedy.}}\n"
)


def music(seed, peak, seconds=6.0):
    """Noise with soft ends, some of it vertical, (2, n)."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    x = rng.standard_normal((2, n)).cumsum(axis=1)
    x -= np.linspace(x[:, :1], x[:, -1:], n, axis=1)[:, :, 0]
    ends = np.minimum(1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / (0.1 * RATE))
    treble = 0.2 * np.sin(2.0 * math.pi * 5000.0 * np.arange(n) / RATE)
    x = (x / np.abs(x).max() + treble) * ends
    return peak * x / np.abs(x).max()


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A delivery of a free side and one with a level asked for, and what the shipped ruleset says of it."""
    root = tmp_path_factory.mktemp("rejudging")
    folder = deliver(
        root / "delivery", {"A": Sent(music(1, 0.5)), "B": Sent(music(2, 0.9), more={"cut_level": "-3 dB"})}
    )
    report = api.check(folder, api.Options(ruleset=PARENT, cache=root / "store"))
    path = root / "report.json"
    path.write_bytes(json_bytes(report))
    return folder, path, report


HOUSES = {
    "nothing": "",
    "tighter without the level": (
        "limits:\n  level.true-peak-too-high: {most: {warn: -9 dBTP, fail: -3 dBTP, source: practice}}\n"
        "  groove.slope-too-steep: {velocity: {warn: 1 cm/s, source: practice}}\n"
    ),
    "looser": "limits: {loudness.outside-range: {quietest: {warn: -60 LUFS, source: practice}}}\n",
    "a limit that sets the level": (
        "limits: {groove.cut-too-deep: {greatest: {warn: 40 um, fail: 50 um, sets_level: fail, source: practice}}}\n"
    ),
    "a measure": QUIET,
    "checks off": "off: {level.true-peak-too-high: by eye, loudness.sides-unequal: by ear}\n",
    "wider land": "chain: {cut: {land: {value: 20 um, source: V-7}}}\n",
    "another way to the cutter": "chain: {signal: {subsonic: {value: 20 Hz, source: practice}}}\n",
    "sides unequal": "limits: {loudness.sides-unequal: {difference: {warn: 0.1 LU, source: practice}}}\n",
}


@pytest.fixture(params=HOUSES, scope="module")
def both(request, bench, tmp_path_factory):
    """What the report tells of a house ruleset, and what judging by it says."""
    folder, path, before = bench
    house = Houses(tmp_path_factory.mktemp("house")).put_at("house.yaml", "house@1.0.0", HOUSES[request.param])
    told = api.rulesets_diff(PARENT, str(house), path).compared
    return (
        request.param,
        told,
        before,
        api.check(folder, api.Options(ruleset=str(house), cache=folder.with_name("store"))),
    )


def test_what_is_said_is_so(both):
    """The witness is the command itself: it judges the audio by the other ruleset."""
    name, told, before, after = both
    earlier = {(one.side, one.check): one.outcome for one in before.results}
    later = {(one.side, one.check): one.outcome for one in after.results}
    for row in told.outcomes:
        key = (row.side, row.check)
        assert (row.before, row.after) == (earlier.get(key), later.get(key)), (name, key)
    recommended = {side.id: side.levels.recommended for side in after.sides}
    assert all(level.after == recommended[level.side] for level in told.levels)
    assert told.verdict_before == before.verdict
    assert told.verdict_after in {None, after.verdict}


def test_nothing_is_left_out(both):
    _, told, before, after = both
    wanted = {(one.side, one.check) for report in (before, after) for one in report.results}
    said = [(row.side, row.check) for row in told.outcomes]
    unsaid = [(one.side, one.what) for one in told.unsaid if "." in one.what]
    assert len({*said, *unsaid}) == len(said) + len(unsaid)
    assert {*said, *unsaid} == wanted
    assert all(one.why for one in told.unsaid)
    assert "places of findings" in [one.what for one in told.unsaid]


def unsaid(bench, tmp_path, body):
    house = Houses(tmp_path).put_at("house.yaml", "house@1.0.0", body)
    told = api.rulesets_diff(PARENT, str(house), bench[1]).compared
    return told, {(one.side, one.what): one.why for one in told.unsaid}


def test_the_same_ruleset_leaves_nothing_unsaid_but_places(bench, tmp_path):
    told, left = unsaid(bench, tmp_path, "")
    assert set(left) == {(None, "places of findings")}
    assert told.verdict_after == told.verdict_before
    assert all(row.before == row.after for row in told.outcomes)


def test_a_limit_that_sets_the_level_moves_the_free_side_alone(bench, tmp_path):
    told, left = unsaid(bench, tmp_path, HOUSES["a limit that sets the level"])
    assert "limits that set the level differ" in left["A", "groove.too-little-land"]
    assert ("B", "groove.too-little-land") not in left  # its level is asked for
    assert "depends on limits that differ" in left["B", "groove.level-above-recommended"]
    assert left["A", "recommended level"] == left["B", "recommended level"] == "limits that set the level differ"
    assert ("A", "level.true-peak-too-high") in {(row.side, row.check) for row in told.outcomes}
    row = next(row for row in told.outcomes if (row.side, row.check) == ("B", "groove.cut-too-deep"))
    depth = bench[2].sides[1].measurements["groove.depth_max"].value
    assert 40.0 < depth < 50.0  # um, at the level asked for, by the report
    assert (row.before, row.after) == ("pass", "warn")


def test_a_chain_that_the_file_is_heard_through_leaves_what_does_not_hang_on_it(bench, tmp_path):
    told, left = unsaid(bench, tmp_path, HOUSES["another way to the cutter"])
    assert "of which signal.subsonic differs" in left["B", "groove.cut-too-deep"]
    said = {row.check for row in told.outcomes}
    assert {"loudness.outside-range", "level.true-peak-too-high"} <= said


LOOSE = (
    "limits: {loudness.outside-range: {quietest: {warn: -70 LUFS, source: practice}, "
    "loudest: {warn: 0 LUFS, source: practice}}}\n"
)
TIGHT = "limits: {loudness.outside-range: {loudest: {warn: -60 LUFS, source: practice}}}\n"


def waived_result(data):
    for result in data["results"]:
        if result["check"] == "loudness.outside-range":
            result["outcome"] = "waived"


def waiver(data):
    data["waivers"] = [
        {"key": "delivery.yaml:9", "check": "loudness.outside-range", "side": "A", "reason": "meant", "owner": "desk",
         "state": "unused"},
    ]  # fmt: skip


@pytest.mark.parametrize("change", [waived_result, waiver])
def test_of_a_waived_check_only_what_is_sure_is_said(bench, tmp_path, change):
    """A check that would find nothing passes; where it would find something, the waiver may cover that or not."""
    houses = Houses(tmp_path)
    tight, loose = houses.put_at("tight.yaml", "house@1.0.0", TIGHT), houses.put_at("loose.yaml", "house@2.0.0", LOOSE)
    tighter = houses.put_at("tighter.yaml", "house@3.0.0", TIGHT.replace("-60", "-65"))
    data = json.loads(json_bytes(api.check(bench[0], api.Options(ruleset=str(tight)))))
    change(data)
    report = tmp_path / "waived.json"
    report.write_text(json.dumps(data))
    told = api.rulesets_diff(str(tight), str(loose), report).compared
    assert ("A", "loudness.outside-range", "pass") in {(row.side, row.check, row.after) for row in told.outcomes}
    told = api.rulesets_diff(str(tight), str(tighter), report).compared
    why = {(one.side, one.what): one.why for one in told.unsaid}
    assert "is waived" in why["A", "loudness.outside-range"]


def test_a_report_whose_numbers_do_not_give_its_outcomes_is_not_believed(bench, tmp_path):
    _, path, _ = bench
    data = json.loads(path.read_bytes())
    data["sides"][0]["measurements"]["level.true_peak"]["value"] = 5.0
    odd = tmp_path / "odd.json"
    odd.write_text(json.dumps(data))
    body = "limits: {level.true-peak-too-high: {most: {warn: 9 dBTP, source: practice}}}\n"
    house = Houses(tmp_path).put_at("house.yaml", "house@1.0.0", body)
    told = api.rulesets_diff(PARENT, str(house), odd).compared
    why = {(one.side, one.what): one.why for one in told.unsaid}
    assert why["A", "level.true-peak-too-high"].startswith("by the report's numbers alone it was fail, and the report")


def test_a_number_that_the_report_does_not_have_is_no_number_that_was_not_there(bench, tmp_path):
    """An added check might have been measured had anybody asked; one that was not measured before stays so."""
    data = json.loads(bench[1].read_bytes())
    for side in data["sides"]:
        del side["measurements"]["loudness.integrated"]
    for result in data["results"]:
        if result["check"] == "loudness.outside-range":
            result["outcome"] = "not_measured"
    report = tmp_path / "less.json"
    report.write_text(json.dumps(data))
    house = Houses(tmp_path).put_at("house.yaml", "house@1.0.0", QUIET + TIGHT)
    told = api.rulesets_diff(PARENT, str(house), report).compared
    why = {(one.side, one.what): one.why for one in told.unsaid}
    assert why["A", "house.quiet-side"] == "the report holds no loudness.integrated"
    rows = {(row.side, row.check): (row.before, row.after) for row in told.outcomes}
    assert rows["A", "loudness.outside-range"] == ("not_measured", "not_measured")


HEAD = '{"schema": %s, "tool": "sidegate 9", "verdict": "pass", "results": []}'


def refused(path, before=PARENT):
    with pytest.raises(UsageError) as caught:
        api.rulesets_diff(before, "disc-12in-33", path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_report_by_another_ruleset_is_refused(bench, tmp_path):
    _, path, _ = bench
    assert "judged by disc-12in-33@1.1.0, and not by disc-12in-33@1.0.0" in refused(path, "disc-12in-33@1.0.0")
    data = json.loads(path.read_bytes())
    data["ruleset"]["sha256"] = "0" * 64
    (tmp_path / "other.json").write_text(json.dumps(data))
    assert "judged by another disc-12in-33@1.1.0 than the one that is here" in refused(tmp_path / "other.json")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "this is no JSON object"),
        ("{", "this is no JSON object"),
        ("[1]", "this is no JSON object"),
        ('{"schema": 1, "tool": "x"}', "this is not the report of a check"),
        (HEAD % "2", "schema 2"),
        (HEAD % "1", "this version"),
    ],
)
def test_what_is_no_report_is_refused(tmp_path, text, says):
    path = tmp_path / "report.json"
    path.write_text(text)
    sentence = refused(path)
    assert sentence.startswith(f"{path}: ")
    assert says in sentence


def test_a_report_that_is_not_there(tmp_path):
    assert "there is no such file" in refused(tmp_path / "none.json")


def test_another_policy_for_the_recommended_level_moves_the_free_side_alone(bench, tmp_path):
    policy = "level:\n  policy: {value: margin, source: practice}\n  margin: {value: 1 dB, source: practice}\n"
    _, left = unsaid(bench, tmp_path, policy)
    assert "the policies for the recommended level differ" in left["A", "groove.too-little-land"]
    assert ("B", "groove.too-little-land") not in left
