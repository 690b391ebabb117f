"""`sidegate test`: a house that has no Python runs its case files, and each difference is reported with both sides."""

import types
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from qc import Check, Model, api, hookimpl
from qc.plugin_host.host import Host
from support.command import called

RULESET = """\
schema: 1
name: our-7in
version: 1.0.0
extends: disc-7in-45@3.0.0
limits:
  level.clipped: {runs: {warn: "0", source: "house: desk notes"}}
measures:
  house.quiet-side:
    measure: loudness.integrated
    at_least: {warn: -22 LUFS, source: "house: intake sheet 2"}
    why: Quiet sides show surface noise.
    remedy: Ask for a louder copy.
"""
TONE = """\
why: A tone of 1 kHz in both channels.
sides:
  - audio: [sine: {frequency: 1 kHz, level: LEVEL, lasts: 1.5 s}]
    paper: {cut_level: -6 dB}
"""
QUIET, LOUD = TONE.replace("LEVEL", "-30 dBFS"), TONE.replace("LEVEL", "-18 dBFS")
TOPS = "{flat_tops: {at: 0.7 s, runs: 1, level: -0.05 dBFS, channel: right}}"
CLIPPED = (
    TONE.replace("LEVEL", "-20 dBFS")
    .replace("[sine: ", "[{sine: ")
    .replace("lasts: 1.5 s}]", f"lasts: 1.5 s}}}}, {TOPS}]")
)
WAIVER = "waivers: [{check: level.clipped, side: A, reason: It is meant., owner: the mastering house, expires: DAY}]\n"


class House:
    """A folder of a house: one ruleset file, and cases beside it."""

    def __init__(self, folder):
        self.folder = folder
        (folder / "our-7in.yaml").write_text(RULESET, encoding="utf-8")

    def put(self, place, text):
        path = self.folder / "cases" / f"{place}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    def test(self, *words):
        """Run the command in the house's folder; return exit code, lines on stdout, and stderr."""
        code, out, err = called(["test", *words], folder=self.folder)
        return code, out.decode().splitlines(), err


@pytest.fixture
def house(tmp_path):
    return House(tmp_path)


def test_a_house_without_python_tests_its_measures(house):
    house.put("house.quiet-side/warn-a-quiet-tone", QUIET + "expect: {findings: 1, remedy: louder copy}\n")
    house.put(
        "house.quiet-side/pass-a-loud-tone",
        LOUD + "expect: {measured: {loudness.integrated: {near: -18 LUFS, within: 0.1 LU}}}\n",
    )
    assert house.test("cases") == (0, ["2 cases: 2 hold"], "")
    code, lines, _ = house.test(".", "--only", "loud", "--verbose")
    assert (code, lines) == (0, ["cases/house.quiet-side/pass-a-loud-tone.yaml: holds", "1 case: 1 holds"])


def test_what_differs_is_reported_in_a_line_and_as_junit(house):
    house.put("house.quiet-side/pass-a-quiet-tone", QUIET)
    house.put("house.quiet-side/warn-eased", LOUD)
    house.put("level.clipped/pass-a-tone", LOUD)
    code, lines, err = house.test("cases", "--junit", "junit.xml")
    quiet, eased, total = lines
    assert (code, err, total) == (1, "", "3 cases: 1 holds, 2 do not hold")
    assert quiet.startswith(
        "cases/house.quiet-side/pass-a-quiet-tone.yaml: house.quiet-side on side A is warn, not pass"
    )
    assert "is pass, not warn; it measured loudness.integrated -17.99" in eased
    root = ET.parse(house.folder / "junit.xml").getroot()
    assert (root.get("tests"), root.get("failures"), root.get("errors")) == ("3", "2", "0")
    assert [suite.get("name") for suite in root] == ["house.quiet-side", "level.clipped"]
    assert [case.get("name") for case in root.iter("testcase")] == ["pass-a-quiet-tone", "warn-eased", "pass-a-tone"]
    assert [failure.get("message") for failure in root.iter("failure")] == [quiet, eased]


def test_all_that_differs_is_reported_a_line_each(house):
    expect = "expect: {findings: 2, measured: {loudness.integrated: {near: -40 LUFS, within: 1 LU}}}\n"
    house.put("house.quiet-side/pass-a-quiet-tone", QUIET + expect)
    code, lines, _ = house.test("cases", "--junit", "junit.xml")
    path = "cases/house.quiet-side/pass-a-quiet-tone.yaml"
    assert (code, lines[-1]) == (1, "1 case: 1 does not hold")
    assert [line.split(": ")[0] for line in lines[:-1]] == [path] * 3
    assert "is warn, not pass" in lines[0]
    assert "house.quiet-side has 1 finding, not 2" in lines[1]
    assert "loudness.integrated on side A is" in lines[2]
    (failure,) = ET.parse(house.folder / "junit.xml").getroot().iter("failure")
    assert failure.get("message") == lines[0]
    assert failure.text.split("\n") == lines[:-1]


def test_a_limit_of_a_case_replaces_that_of_a_measure(house):
    limits = 'limits: {house.quiet-side: {at_least: {fail: -10 LUFS, source: "house: desk notes"}}}\n'
    house.put("house.quiet-side/fail-by-another-limit", limits + LOUD)
    assert house.test("cases") == (0, ["1 case: 1 holds"], "")


def test_a_waiver_of_a_case_covers_what_it_names_until_its_last_day(house):
    expect = "expect: {findings: 2, waived: 2}\n"
    house.put(
        "level.clipped/waived-on-the-last-day",
        CLIPPED + WAIVER.replace("DAY", "2026-03-02") + "today: 2026-03-02\n" + expect,
    )
    house.put(
        "level.clipped/warn-a-day-later",
        CLIPPED + WAIVER.replace("DAY", "2026-03-02") + "today: 2026-03-03\nexpect: {waived: 0}\n",
    )
    assert house.test("cases") == (0, ["2 cases: 2 hold"], "")
    house.put("level.clipped/waived-without-a-day", CLIPPED + WAIVER.replace("DAY", "2026-03-02"))
    code, (line, _), _ = house.test("cases", "--only", "without-a-day")
    assert (code, line) == (
        2,
        'cases/level.clipped/waived-without-a-day.yaml:5: this waiver expires; add the day of the run as "today"',
    )


def test_a_case_is_compared_with_an_earlier_delivery(house):
    def earlier(text):
        return "baseline:\n" + "".join(f"  {line}\n" for line in text.splitlines()[1:])

    house.put("level.clipped/pass-it-was-mended", LOUD + earlier(CLIPPED) + "expect: {fixed: 2}\n")
    house.put("level.clipped/warn-it-is-new", CLIPPED + earlier(LOUD) + "expect: {new: 2, fixed: 0}\n")
    house.put("level.clipped/warn-as-before", CLIPPED + earlier(CLIPPED) + "expect: {new: 2}\n")
    house.put("level.clipped/warn-of-nothing", CLIPPED + "expect: {new: 2}\n")
    code, lines, _ = house.test("cases")
    assert code == 2
    assert lines[0].startswith("cases/level.clipped/warn-as-before.yaml: level.clipped has 0 new findings, not 2: none")
    assert lines[1].endswith('warn-of-nothing.yaml:5: "new" compares with an earlier delivery; add "baseline"')
    assert lines[2:] == ["4 cases: 2 hold, 1 does not hold, 1 cannot be used"]


def test_findings_of_the_whole_delivery_are_compared_by_side_and_field(house):
    tracks = "    tracks: [{start: 0, end: 0.7, isrc: ZZTST2600001}, {start: 0.7, end: 1.5, isrc: CODE}]\n"
    wrong = LOUD + tracks.replace("CODE", "ZZ-1")
    place = "delivery.number-or-isrc"
    house.put(f"{place}/fail-malformed", wrong + "expect: {side: A, findings: 1, track: 2, kind: ZZ-1}\n")
    code, lines, _ = house.test("cases")
    house.put(f"{place}/fail-elsewhere", wrong + "expect: {field: cut_level}\n")
    assert (lines, code) == (["1 case: 1 holds"], 0)
    code, (line, _), _ = house.test("cases", "--only", "elsewhere")
    assert code == 1
    assert "its field is tracks.1.isrc, not cut_level" in line


def test_a_ruleset_is_named_found_beside_the_cases_or_given(house):
    path = house.put("house.quiet-side/warn-a-quiet-tone", QUIET)
    (house.folder / "our-7in.yaml").rename(house.folder / "other.txt")
    code, (line, _), _ = house.test("cases")
    assert code == 2
    assert 'no check is called "house.quiet-side"' in line
    (house.folder / "rules").mkdir()
    (house.folder / "other.txt").rename(house.folder / "rules" / "our-7in.yaml")
    assert house.test("cases", "--ruleset", "rules/our-7in.yaml")[0] == 0
    path.write_text(QUIET + "ruleset: ../../rules/our-7in.yaml\n", encoding="utf-8")
    assert house.test(str(path))[0] == 0
    path.write_text(QUIET, encoding="utf-8")
    for name in ("a", "b"):
        (house.folder / f"{name}.yaml").write_text(RULESET, encoding="utf-8")
    code, (line, _), _ = house.test("cases")
    assert code == 2
    assert "there are several rulesets in" in line
    assert "(a.yaml, b.yaml)" in line


@pytest.mark.parametrize(
    ("place", "text", "sentence"),
    [
        ("house.quiet-side/warn-misspelt", QUIET.replace("sine", "sien"), 'unknown key "sien"; did you mean "sine"?'),
        ("house.quiet-side/quiet", QUIET, "a case is named for what must become of the check and why"),
        ("quiet/warn-elsewhere", QUIET, 'no check is called "quiet", as the folder is'),
        ("house.quiet-side/warn-short", QUIET.replace("sine: {", "bursts: {on: 2 s, every: 1 s, "), "2 s does not fit"),
        ("house.quiet-side/warn-no-ruleset", QUIET + "ruleset: our-9in\n", 'no ruleset is called "our-9in"'),
    ],
)
def test_a_case_that_cannot_be_used_is_named_and_the_others_run(house, place, text, sentence):
    house.put(place, text)
    house.put("level.clipped/pass-a-tone", LOUD)
    code, (line, total), err = house.test("cases")
    assert (code, total, err) == (2, "2 cases: 1 holds, 1 cannot be used", "")
    assert line.startswith(f"cases/{place}.yaml:")
    assert sentence in line


def test_a_fault_of_the_ruleset_of_many_cases_is_said_once(house):
    for number in (1, 2, 3):
        house.put(f"house.quiet-side/warn-{number}", QUIET)
    ruleset = house.folder / "our-7in.yaml"
    ruleset.write_text(RULESET.replace("house: ", "house-"), encoding="utf-8")
    code, lines, _ = house.test("cases", "--junit", "junit.xml")
    first, *others, total = lines
    assert (code, total) == (2, "3 cases: 3 cannot be used")
    path = "cases/house.quiet-side/warn-{}.yaml"
    assert first.startswith(f"{path.format(1)}: {ruleset}:")
    assert "the source" in first
    assert others == [f"{path.format(number)}: cannot be used, as {path.format(1)}" for number in (2, 3)]
    faults = [error.get("message") for error in ET.parse(house.folder / "junit.xml").getroot().iter("error")]
    assert [fault.count("the source") for fault in faults] == [1, 1, 1]


def test_without_a_case_the_command_ends_with_2(house):
    (house.folder / "cases").mkdir()
    assert house.test("cases")[0] == 2
    assert "there is no such file or folder" in house.test("csaes")[2]
    house.put("house.quiet-side/warn-a-quiet-tone", QUIET)
    code, lines, err = house.test("cases", "--only", "loud")
    assert (code, lines) == (2, [])
    assert 'none of 1 cases has "loud" in its name' in err


@pytest.mark.parametrize("place", ["-", "nowhere/junit.xml", "cases/house.quiet-side/warn-a-quiet-tone.yaml"])
def test_a_place_that_junit_must_not_take_is_refused_before_a_case_runs(house, place):
    house.put("house.quiet-side/warn-a-quiet-tone", QUIET)
    code, lines, err = house.test("cases", "--junit", place)
    assert (code, lines) == (2, [])
    assert err.startswith("sidegate: --junit: ")


class BreakingLimits(Model):
    pass


class Breaking(Check[BreakingLimits]):
    """Breaks."""

    id, title, why, how, remedy = "house.breaks", "It breaks", "To see it.", "It divides.", "None."
    Limits = BreakingLimits

    def evaluate(self, _):
        return [1 / 0]


@pytest.fixture
def broken(monkeypatch):
    plugin = types.ModuleType("breaking")
    plugin.qc_checks = hookimpl(lambda: [Breaking])
    plugin.qc_checks.__name__ = "qc_checks"
    host = Host.build(extra=[("breaking", plugin)])
    monkeypatch.setattr(api, "build_host", lambda *_: host)


@pytest.mark.usefixtures("broken")
def test_a_plugin_that_breaks_in_a_case_is_named(house):
    path = house.folder / "our-7in.yaml"
    path.write_text(RULESET.replace("limits:\n", "limits:\n  house.breaks: {}\n"), encoding="utf-8")
    house.put("house.breaks/pass-never", LOUD)
    code, (line, total), _ = house.test("cases", "--junit", "junit.xml")
    assert (code, total) == (3, "1 case: 1 met a broken plugin")
    assert "plugin breaking failed at house.breaks: ZeroDivisionError" in line
    assert ET.parse(house.folder / "junit.xml").getroot().get("errors") == "1"


def test_a_case_is_broken_where_a_plugin_that_every_run_needs_did_not_load(house, monkeypatch):
    def refuse():
        raise RuntimeError("no licence")

    plugin = types.ModuleType("archive")
    plugin.qc_checks = hookimpl(refuse)
    plugin.qc_checks.__name__ = "qc_checks"
    plugin.qc_report_done = hookimpl(lambda report: f"{report}")
    plugin.qc_report_done.__name__ = "qc_report_done"
    host = Host.build(extra=[("archive", plugin)])
    monkeypatch.setattr(api, "build_host", lambda *_: host)
    house.put("level.true-peak-too-high/pass-far-below", LOUD)
    code, (line, total), _ = house.test("cases", "--junit", "junit.xml")
    assert (code, total) == (3, "1 case: 1 met a broken plugin")
    assert "plugin archive failed" in line
    assert ET.parse(house.folder / "junit.xml").getroot().get("errors") == "1"


def test_a_folder_of_a_package_is_tested_by_the_command_too(house):
    folder = Path(__file__).resolve().parents[1] / "cases"
    code, lines, _ = house.test(str(folder), "--only", "layout.lead-in-silence/warn-a-little-too-short")
    assert (code, lines) == (0, ["1 case: 1 holds"])


def test_a_case_that_a_broken_plugin_leaves_without_a_ruleset_names_the_plugin(house, monkeypatch):
    def refuse():
        raise RuntimeError("no licence")

    plugin = types.ModuleType("archive")
    plugin.qc_checks = hookimpl(refuse)
    plugin.qc_checks.__name__ = "qc_checks"
    monkeypatch.setattr(api, "build_host", lambda *_: Host.build(extra=[("archive", plugin)]))
    path = house.folder / "our-7in.yaml"
    path.write_text(RULESET.replace('"house', '"QUAY-1; house'), encoding="utf-8")
    house.put("house.quiet-side/warn-a-quiet-tone", QUIET)
    code, (line, total), _ = house.test("cases")
    assert (code, total) == (3, "1 case: 1 met a broken plugin")
    assert line.endswith("not judged, for the plugin archive did not load")
