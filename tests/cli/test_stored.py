"""Stored measurements as people meet them: the user's own folder, another one, or none."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from support.command import COMMAND, HUNG, called, one_sentence

HEARING = ["sidegate: reading side A", "sidegate: reading side B"]


@pytest.fixture
def good(bench):
    bench.deliver()
    return bench


def told(ran):
    """The report without what may differ, and how each side came by its numbers."""
    run = ran.report.pop("run")
    return ran.report, run["sides"]


def test_a_second_run_hears_nothing(good):
    first = good.check()
    assert first.sentences[:2] == HEARING
    second = good.check("--strict")
    assert not any("reading side" in one for one in second.sentences)
    plain = good.check("--no-cache")
    reports = [told(ran) for ran in (first, second, plain)]
    assert [origins["A"] for _, origins in reports] == ["heard", "stored", "heard"]
    assert reports[0][0] == reports[1][0] == reports[2][0]
    assert (good.store / ".gitignore").exists()
    assert sorted(path.name for path in good.folder.iterdir()) == ["delivery.yaml", "side-a.wav", "side-b.wav"]


def test_the_plan_goes_by_what_the_check_heard(good):
    good.check()
    ran = good.run("plan", good.folder, "--out", "json=-")
    assert json.loads(ran.out)["run"]["sides"] == {"A": "stored", "B": "stored"}
    ran = good.run("plan", good.folder, "--out", "json=-", "--no-cache")
    assert json.loads(ran.out)["run"]["sides"] == {"A": "heard", "B": "heard"}


def test_no_cache_makes_no_folder(good):
    good.check("--no-cache")
    assert not good.store.exists()


def test_the_demo_stores_nothing(bench):
    ran = bench.run("demo", "--help")
    assert b"--cache" not in ran.out


def test_another_folder_is_made_when_it_is_needed(good, tmp_path):
    cache = tmp_path / "elsewhere" / "store"
    words = ["check", str(good.folder), "--cache", str(cache), "--out", "json=-"]
    runs = [json.loads(called(words)[1])["run"] for _ in range(2)]
    assert [run["sides"]["A"] for run in runs] == ["heard", "stored"]
    assert not good.store.exists()


def test_verify_measures_everything_again_and_has_nothing_to_say_when_it_is_the_same(good):
    first = good.check()
    ran = good.check("--verify")
    assert told(ran) == told(first)
    assert ran.sentences[:2] == HEARING
    assert not any("stored" in one for one in ran.sentences)


def test_what_is_contradictory_is_refused(good):
    assert "not allowed with" in good.run("check", good.folder, "--cache", "x", "--no-cache").err
    assert "the folder has no name" in one_sentence(good.check("--cache", ""))


def test_a_folder_that_cannot_be_written_costs_one_sentence(good):
    taken = good.root / "taken"
    taken.write_text("no folder")
    ran = good.check("--cache", taken)
    assert ran.code == 0
    (said,) = (one for one in ran.sentences if "reading side" not in one and "pass" not in one)
    assert said == (
        f"sidegate: measurements are not stored in {taken} (File exists); the next run measures again, unless "
        "--cache or SIDEGATE_STORE names another folder"
    )


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder in which not even root may write")
def test_media_that_can_only_be_read_are_judged_all_the_same(good):
    ran = good.check("--cache", "/proc/self/store")
    assert ran.code == 0
    assert sum("measurements are not stored" in one for one in ran.sentences) == 1


def test_two_processes_at_once_store_the_same(good):
    words = [*COMMAND, "check", str(good.folder), "--out", "json=-"]
    both = [subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(2)]
    reports = []
    for one in both:
        out, err = one.communicate(timeout=HUNG)
        assert (one.returncode, b"stored" in err) == (0, False), err
        reports.append(json.loads(out))
    third = good.check()
    assert third.report["run"]["sides"] == {"A": "stored", "B": "stored"}
    for report in (*reports, third.report):
        report.pop("run")
    assert reports[0] == reports[1] == third.report
    assert not [name for _, _, names in os.walk(good.store) for name in names if name.startswith(".sidegate")]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
def test_a_process_that_is_killed_half_way_leaves_nothing_that_is_believed(good):
    plain, _ = told(good.check("--no-cache"))
    words = [*COMMAND, "check", str(good.folder), "--out", "json=-"]
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as one:
        deadline = time.monotonic() + HUNG
        while time.monotonic() < deadline and one.poll() is None and not list(good.store.rglob("*.kept")):
            time.sleep(0.001)
        one.kill()
    ran = good.check()
    report, origins = told(ran)
    assert report == plain
    assert origins["B"] in {"heard", "partly stored", "stored"}
    assert not any("damaged" in one for one in ran.sentences)
    assert told(good.check())[1] == {"A": "stored", "B": "stored"}


def test_under_another_ruleset_or_chain_a_stored_side_is_judged_as_one_that_is_heard(good, tmp_path):
    house = tmp_path / "house.yaml"
    house.write_text(
        "schema: 1\nname: house\nversion: 1.0.0\nextends: disc-12in-33@1.0.0\nlimits:\n  groove.top-width-too-narrow:\n"
        "    least: {warn: 42 um, fail: 40 um, source: practice}\n"
    )
    good.check()
    judged = []
    for words in (["--ruleset", house], ["--chain", "cut.land=20um"], []):
        kept, plain = told(good.check(*words)), told(good.check(*words, "--no-cache"))
        assert (kept[1]["A"], plain[1]["A"]) == ("stored", "heard")
        assert kept[0] == plain[0]
        judged.append(kept[0]["sides"][0]["levels"])
    assert judged[0] != judged[2] != judged[1]
    assert len(list(good.store.rglob("groove.sectors.further-*.kept"))) == 4  # two sides, two chains


def test_numbers_by_level_that_are_damaged_are_worked_out_again(good):
    first = good.check()
    for path in good.store.rglob("groove.sectors.further-*.kept"):
        path.write_bytes(path.read_bytes().replace(b"groove.travel", b"groove.TRAVEL"))
    second = good.check()
    assert sum("is damaged" in one for one in second.sentences) == 1
    assert told(second)[0] == told(first)[0]
    assert not any("damaged" in one for one in good.check().sentences)
