"""Sides that came from the store say so in every format, and not where a report is to be the same each time."""

from __future__ import annotations

import json

import pytest
import soundfile

from support.command import PINNED, RATE, programme
from support.forged_store import redate
from support.signals import opposed, tone

DAY = "2026-02-03"
SAID = f"measured on {DAY}, not measured again"
FORMATS = ("text", "html", "json", "junit", "sarif", "sheet", "note")


@pytest.fixture
def bench_with_findings(bench):
    """A delivery whose side B has something to fix, so that every format has something to write."""
    bench.deliver(PINNED)
    x = programme(peak=0.24).T
    x[:, RATE // 2 : RATE // 2 + round(0.6 * RATE)] += opposed(tone(60.0, 0.6, RATE, 0.5, fade=0.1))
    soundfile.write(bench.folder / "side-b.wav", x.T, RATE, subtype="PCM_24")
    return bench


def reports(bench, *words):
    """Every format as it is written, and the sentences on stderr."""
    places = {name: bench.output / f"{name}.out" for name in FORMATS}
    outs = [word for name, place in places.items() for word in ("--out", f"{name}={place}")]
    ran = bench.run("check", bench.folder, *outs, *words)
    assert ran.code == 1
    return {name: place.read_bytes() for name, place in places.items()}, ran.sentences


def test_every_format_says_when_a_side_was_measured(bench_with_findings):
    bench = bench_with_findings
    fresh, _ = reports(bench)
    assert [name for name, octets in fresh.items() if b"not measured again" in octets] == []
    redate(bench.store, DAY)
    stored, _ = reports(bench)
    assert json.loads(stored["json"])["run"]["measured_on"] == {"A": DAY, "B": DAY}
    silent = [name for name, octets in stored.items() if SAID.encode() not in octets]
    assert silent == ["json"]
    assert f"sides A and B {SAID}" in stored["text"].decode()
    quiet = bench.run("check", bench.folder, "--quiet").out.decode()
    assert SAID in quiet


def test_one_side_measured_now_and_one_earlier(bench_with_findings):
    bench = bench_with_findings
    reports(bench)
    redate(bench.store, DAY)
    soundfile.write(bench.folder / "side-a.wav", programme(peak=0.2), RATE, subtype="PCM_24")
    stored, _ = reports(bench)
    assert json.loads(stored["json"])["run"]["measured_on"] == {"B": DAY}
    assert f"side B {SAID}" in stored["text"].decode()
    note = [line for line in stored["note"].decode().splitlines() if ".wav" in line]
    assert [SAID in line for line in note] == [False, True]


def test_a_reproducible_report_is_the_same_from_the_store(bench_with_findings):
    bench = bench_with_findings
    fresh, _ = reports(bench, "--reproducible", "--no-cache")
    reports(bench, "--reproducible")
    redate(bench.store, DAY)
    stored, said = reports(bench, "--reproducible")
    assert not any("reading" in one for one in said)
    assert stored == fresh


def test_pictures_tables_and_plans_say_it_too(bench_with_findings, tmp_path_factory):
    bench, out = bench_with_findings, tmp_path_factory.mktemp("drawn")
    reports(bench)
    redate(bench.store, DAY)
    ran = bench.run("check", bench.folder, "--out", f"pictures={out / 'pictures'}", "--out", f"traces={out / 't.csv'}")
    assert json.loads((out / "pictures" / "pictures.json").read_text())["measured_earlier"] == [f"sides A and B {SAID}"]
    assert f"sidegate: traces: sides A and B {SAID}" in ran.sentences
    assert f"sides A and B {SAID}" in bench.run("plan", bench.folder).out.decode()
