"""All formats from one run, the same bytes from the same delivery, and a note from a house's own template."""

from __future__ import annotations

import csv
import io
import json

import pytest
import soundfile
from lxml import etree

from qc.report import registry
from support.command import DELIVERY, RATE, one_sentence, programme

PLACES = {
    "html": "page.html", "json": "report.json", "junit": "junit.xml", "note": "note.md", "sarif": "report.sarif",
    "sheet": "sheet.md", "text": "report.txt", "traces": "traces.csv",
}  # fmt: skip
OF_THE_FILE = {"format", "coding", "sha256", "own_md5", "checked"}


@pytest.fixture
def good(bench, shared_store):
    bench.deliver()
    bench.environment["SIDEGATE_STORE"] = shared_store
    return bench


def every(bench, *words):
    """Ask for every format at once; gives their bytes by format."""
    asked = [word for name, place in PLACES.items() for word in ("--out", f"{name}={bench.output / place}")]
    ran = bench.run("check", bench.folder, *asked, *words)
    assert ran.code in (0, 1), ran.err
    assert ran.left == sorted(PLACES.values())
    assert ran.out == b""
    return {name: (bench.output / place).read_bytes() for name, place in PLACES.items()}


def test_every_format_of_the_core_comes_from_one_run(good):
    assert set(PLACES) == {name for name, found in registry.formats().items() if not found.folder}
    found = every(good)
    report = json.loads(found["json"])
    assert [suite.get("name") for suite in etree.fromstring(found["junit"])][:2] == ["side A", "side B"]
    (run,) = json.loads(found["sarif"])["runs"]
    assert {row["ruleId"] for row in run["results"]} == {result["check"] for result in report["results"]}
    assert len(run["tool"]["driver"]["rules"]) == len({result["check"] for result in report["results"]})
    assert all(rule["fullDescription"]["text"] for rule in run["tool"]["driver"]["rules"])
    places = [row["locations"][0]["physicalLocation"] for row in run["results"] if row["properties"]["side"] == "A"]
    assert {place["region"]["startLine"] for place in places} == {6}
    assert b"Everything is in order" in found["note"]
    assert found["text"].startswith(b"PASS")


def test_traces_meet_the_report_they_stand_beside(good):
    found = every(good)
    report = json.loads(found["json"])
    rows = list(csv.DictReader(io.StringIO(found["traces"].decode(), newline="")))
    for side in report["sides"]:
        of = [row for row in rows if row["side"] == side["id"]]
        measured = side["measurements"]
        for header, name, worst in (
            ("land [um]", "groove.land_min", min), ("top width [um]", "groove.top_width_min", min),
            ("depth [um]", "groove.depth_max", max), ("tracing ratio [1]", "groove.tracing_ratio_peak", max),
            ("acceleration [g]", "groove.acceleration_peak", max), ("drive over 1 s [g]", "groove.drive_1s", max),
        ):  # fmt: skip
            assert worst(float(row[header]) for row in of if row[header]) == measured[name]["value"], name
        at = measured["groove.top_width_min"]["at"]
        row = next(row for row in of if float(row["file second [s]"]) == at["start_s"])
        assert float(row["top width [um]"]) == measured["groove.top_width_min"]["value"]
        assert row["track"] == str(at.get("track") or "")
        assert float(of[0]["file second [s]"]) == side["geometry"]["span_start_s"]
        assert 2.0 * float(of[-1]["radius [mm]"]) == pytest.approx(side["geometry"]["last_diameter_mm"], rel=1e-12)


def test_stdout_carries_the_one_format_that_was_asked_for_there(good):
    for name in sorted(set(PLACES) - {"html"}):
        ran = good.run("check", good.folder, "--out", f"{name}=-", "--reproducible")
        asked = good.run("check", good.folder, "--out", f"{name}={good.output / PLACES[name]}", "--reproducible")
        assert (ran.code, asked.code) == (0, 0)
        assert ran.out == (good.output / PLACES[name]).read_bytes(), name
    good.run("check", good.folder, "--out", "json=-")


def test_reproducible_reports_are_the_same_bytes_for_one_worker_and_two(good):
    one, two = (every(good, "--reproducible", "--no-cache", "--workers", count) for count in "12")
    assert one == two
    assert json.loads(one["json"])["run"] is None
    assert json.loads(every(good)["json"])["run"]["workers"] >= 1


def test_a_plan_is_reproducible_too(good):
    def planned(*words):
        ran = good.run("plan", good.folder, "--out", "json=-", *words)
        assert ran.code == 0
        return ran.out

    assert planned("--reproducible", "--workers", "1") == planned("--reproducible", "--workers", "2")
    assert json.loads(planned("--reproducible"))["run"] is None


def test_flac_of_the_same_audio_gives_the_same_bytes_but_for_the_file(good):
    def without_the_file(value):
        if isinstance(value, dict):
            return {name: without_the_file(one) for name, one in value.items() if name not in OF_THE_FILE}
        return [without_the_file(one) for one in value] if isinstance(value, list) else value

    wav = every(good, "--reproducible")
    for side in "ab":
        samples, rate = soundfile.read(good.folder / f"side-{side}.wav", dtype="int32")
        (good.folder / f"side-{side}.wav").unlink()
        soundfile.write(good.folder / f"side-{side}.flac", samples, rate, subtype="PCM_24")
    paper = good.folder / "delivery.yaml"
    paper.write_text(paper.read_text().replace(".wav", ".flac"))
    flac = every(good, "--reproducible")
    assert wav["traces"] == flac["traces"]
    assert without_the_file(json.loads(wav["json"])) == without_the_file(
        json.loads(flac["json"].replace(b".flac", b".wav"))
    )
    assert wav["note"].replace(b".wav", b".flac") == flac["note"]


def test_a_note_from_a_template_of_ones_own(good):
    (good.folder / "house.md").write_text("{{ note.title }}: {{ note.outcome }}\n")
    ran = good.run("check", ".", "--out", "note=-", "--note-template", "house.md")
    assert (ran.code, ran.out) == (0, b"Quiet Harbour: good\n")


def test_a_template_that_cannot_be_used_ends_it_before_anything_is_heard(good):
    (good.folder / "house.md").write_text("fine\n{{ note.titel }}\n")
    words = ["--out", f"note={good.output / 'note.md'}", "--note-template", "house.md"]
    sentence = one_sentence(good.check(*words))
    assert sentence.startswith("sidegate: --note-template house.md:2: ")
    assert "reading side" not in sentence
    assert "no attribute 'titel'" in sentence
    sentence = one_sentence(good.check("--note-template", "house.md"))
    assert sentence.endswith("--note-template: no note is written; request one with --out note=note.md")


def test_a_note_is_not_written_over_its_template(good):
    template = good.folder / "house.md"
    template.write_text("x")
    one_sentence(good.run("check", good.folder, "--out", f"note={template}", "--note-template", template))
    assert template.read_text() == "x"


def test_parquet_is_asked_for_by_the_suffix_and_any_other_is_refused(good):
    place = good.output / "traces.parquet"
    assert good.run("check", good.folder, "--out", f"traces={place}").code == 0
    assert place.read_bytes()[:4] == b"PAR1"
    place.unlink()
    sentence = one_sentence(good.run("check", good.folder, "--out", f"traces={good.output / 'traces.txt'}"))
    assert sentence.endswith("--out traces: traces.txt is neither .csv nor .parquet; name it so")


def test_strict_is_the_exit_code_that_sarif_tells(bench):
    bench.deliver(DELIVERY.replace("    cut_level: 0 dB\n", ""))
    for words, code in (([], 0), (["--strict"], 1)):
        ran = bench.run("check", bench.folder, "--out", "sarif=-", *words)
        (run,) = json.loads(ran.out)["runs"]
        assert (ran.code, run["invocations"][0]["exitCode"]) == (code, code)


def test_audio_that_is_not_there_is_in_every_format(good):
    (good.folder / "side-b.wav").unlink()
    found = every(good)
    assert b"side-b.wav is not there" in found["junit"]
    assert b"side-b.wav is not there" in found["sarif"]
    assert "We noted: side-b.wav is not there." in found["note"].decode()
    assert {row["side"] for row in csv.DictReader(io.StringIO(found["traces"].decode(), newline=""))} == {"A"}


def test_a_side_that_fails_says_so_in_every_format(bench):
    bench.deliver()
    samples = 20.0 * programme()
    soundfile.write(bench.folder / "side-a.wav", samples, RATE, subtype="FLOAT")
    found = every(bench)
    root = etree.fromstring(found["junit"])
    (run,) = json.loads(found["sarif"])["runs"]
    failed = {result["check"] for result in json.loads(found["json"])["results"] if result["outcome"] == "fail"}
    assert failed
    assert {case.get("name") for case in root.iter("testcase") if case.find("failure") is not None} == failed
    assert {row["ruleId"] for row in run["results"] if row["level"] == "error"} == failed
    assert b"to be put right before the record can be cut" in found["note"]
