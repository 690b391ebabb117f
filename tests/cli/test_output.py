"""What comes out, and where: stdout has the report alone, nothing is left half written, nothing steers a terminal."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from support.command import (
    COMMAND,
    DELIVERY,
    HUNG,
    LONGEST,
    RATE,
    heed_interrupts,
    no_constant,
    one_sentence,
    processor_seconds,
    programme,
)

HEARING = ["sidegate: reading side A", "sidegate: reading side B"]
LONG = "Salt on Glass " * 400
PASSES = "PASS: programme pass, groove pass, paperwork pass\n"
HOSTILE = "Slack \u202e\u2066Water\u200b \U0001f30a\U0001f9dc\u200d\u2640\ufe0f {title} %s"


@pytest.fixture
def good(bench):
    bench.deliver()
    return bench


def test_the_text_report_goes_to_stdout_and_progress_to_stderr(good):
    ran = good.run("check", good.folder, "--no-cache")
    assert ran.code == 0
    assert ran.out.decode().startswith(f"{PASSES}Quiet Harbour, judged by disc-12in-33@1.0.0\n")
    assert ran.sentences == HEARING
    assert good.run("check", good.folder, "--no-cache", "--out", "text=-").out == ran.out


def test_stdout_carries_the_json_report_alone(good):
    ran = good.run("check", good.folder, "--out", "json=-")
    assert ran.code == 0
    assert json.loads(ran.out, parse_constant=no_constant)["verdict"] == "pass"
    assert ran.sentences == HEARING


def test_with_a_file_for_the_report_stderr_has_the_verdict(good):
    ran = good.check("--out", f"text={good.folder / 'report.txt'}")
    assert (ran.code, ran.out) == (0, b"")
    assert ran.sentences == [*HEARING, "sidegate: Quiet Harbour: pass"]
    assert (good.folder / "report.txt").read_text().startswith("PASS")


def test_one_side_alone(good):
    ran = good.check("--side", "B")
    assert ran.code == 0
    assert [side["id"] for side in ran.report["sides"]] == ["B"]
    assert ran.sentences[0] == HEARING[1]


def test_strict_turns_warnings_into_1(bench):
    bench.deliver(DELIVERY.replace("    cut_level: 0 dB\n", ""))  # what is recommended leaves less land than is liked
    for words, code in (([], 0), (["--strict"], 1)):
        ran = bench.check(*words)
        assert (ran.code, ran.report["verdict"]) == (code, "warn")
    bench.deliver()
    ran = bench.check("--strict")
    assert (ran.code, ran.report["verdict"]) == (0, "pass")


def test_a_report_takes_the_place_of_an_older_one(good):
    good.report.write_text("old")
    good.report.chmod(0o600)
    report = good.run("check", good.folder, "--out", f"json={good.report}").report
    assert report["verdict"] == "pass"
    (good.output / "link.json").symlink_to("report.json")
    ran = good.run("check", good.folder, "--out", f"json={good.output / 'link.json'}")
    assert ran.left == ["link.json", "report.json"]
    assert (good.output / "link.json").is_symlink()


def test_a_report_may_have_the_longest_name(good):
    path = good.output / ("r" * 255)
    ran = good.run("check", good.folder, "--out", f"json={path}")
    assert (ran.code, ran.left) == (0, [path.name])


# -- interrupted -------------------------------------------------------------------------------------------------


@pytest.fixture
def lengthy(bench):
    """Ten minutes, most of them a hole in the file."""
    bench.deliver(DELIVERY.replace("end: 2.0", "end: 600.0"))
    path = bench.folder / "side-a.wav"
    soundfile.write(path, programme(), RATE, subtype="PCM_16")
    whole = bytearray(path.read_bytes())
    size = 600 * RATE * 4
    at = whole.index(b"data") + 4
    whole[at : at + 4] = size.to_bytes(4, "little")
    whole[4:8] = (at + 4 + size - 8).to_bytes(4, "little")
    path.write_bytes(whole)
    os.truncate(path, at + 4 + size)
    return bench


@pytest.mark.parametrize(
    ("workers", "number", "code"),
    [
        ("1", signal.SIGINT, 130),
        ("2", signal.SIGTERM, 143),
        pytest.param("1", signal.SIGTERM, 143, marks=pytest.mark.long),
        pytest.param("2", signal.SIGINT, 130, marks=pytest.mark.long),
    ],
)
def test_an_interrupt_leaves_nothing(lengthy, workers, number, code):
    """Told while it hears ten minutes: it ends at once, with no more of the processor than a small delivery takes."""
    words = ["check", str(lengthy.folder), "--workers", workers, "--out", f"json={lengthy.report}", "--out", "text=-"]
    before = processor_seconds()
    with (
        lengthy.watched(),
        subprocess.Popen(
            [*COMMAND, *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=lengthy.environment,
            preexec_fn=heed_interrupts,  # noqa: PLW1509
        ) as running,
    ):
        assert running.stderr.readline() == b"sidegate: reading side A\n"
        running.send_signal(number)
        out, err = running.communicate(timeout=HUNG)
    assert processor_seconds() - before < LONGEST
    assert (running.returncode, out, err) == (code, b"", b"sidegate: stopped; nothing more was written\n")
    assert list(lengthy.output.iterdir()) == []


# -- stdout that is gone -----------------------------------------------------------------------------------------


def deaf(*words, env=None):
    """Run with a stdout that nobody reads."""
    ear, mouth = os.pipe()
    os.close(ear)
    try:
        return subprocess.run(
            [*COMMAND, *map(str, words)], stdout=mouth, stderr=subprocess.PIPE, check=False, text=True, env=env,
            timeout=HUNG,
        )  # fmt: skip
    finally:
        os.close(mouth)


CLOSED = "sidegate: stdout was closed before everything was written; read it to its end, or name a file"


def test_a_report_that_nobody_reads_is_no_pass_and_keeps_no_other_report_away(good):
    with good.watched(good.report):
        done = deaf("check", good.folder, "--out", "text=-", "--out", f"json={good.report}", env=good.environment)
    assert (done.returncode, done.stderr.splitlines()) == (2, [*HEARING, CLOSED])
    assert json.loads(good.report.read_bytes())["verdict"] == "pass"
    with good.watched():
        done = deaf("check", good.folder, "--no-cache", "--out", "json=-", env=good.environment)
    assert (done.returncode, done.stderr.splitlines()) == (2, [*HEARING, CLOSED])


COMMANDS = [
    ["rulesets"], ["schema", "report"], ["--help"], ["check", "--help"], ["--version"], ["completion", "bash"],
]  # fmt: skip
SLOW_COMMANDS = [["plugins"], ["explain", "level.clipped"], ["rulesets", "diff", "disc-12in-33", "disc-12in-45"]]


@pytest.mark.parametrize(
    ("words", "unbuffered"),
    [
        *((words, "") for words in COMMANDS),
        *(pytest.param(words, "", marks=pytest.mark.long) for words in SLOW_COMMANDS),
        *(pytest.param(words, "1", marks=pytest.mark.long) for words in COMMANDS),
    ],
    ids=" ".join,
)
def test_a_command_whose_stdout_is_closed_does_not_end_well(words, unbuffered):
    env = os.environ | {"PYTHONUNBUFFERED": unbuffered}
    done = deaf(*words, env=env)
    assert (done.returncode, done.stderr) == (2, f"{CLOSED}\n")
    command = " ".join(f"'{word}'" for word in [*COMMAND, *words])
    done = subprocess.run(
        ["/bin/sh", "-c", f"{command} >&-"], capture_output=True, check=False, text=True, env=env, timeout=HUNG
    )
    assert (done.returncode, done.stderr) == (2, f"{CLOSED}\n")


def test_a_failing_delivery_whose_report_nobody_reads_ends_with_2(good):
    (good.folder / "side-a.wav").unlink()
    with good.watched():
        done = deaf("check", good.folder, "--no-cache", env=good.environment)
    assert (done.returncode, done.stderr.splitlines()[-1]) == (2, CLOSED)


def in_shell(good, line):
    command = " ".join(f"'{word}'" for word in COMMAND)
    with good.watched():
        return subprocess.run(
            ["/bin/sh", "-c", line.replace("sidegate", command)],
            capture_output=True, check=False, text=True, cwd=good.folder, env=good.environment, timeout=HUNG,
        )  # fmt: skip


def test_head_takes_the_first_line(good):
    done = in_shell(good, "sidegate check . | head -1")
    assert (done.stdout, done.stderr.splitlines()) == (PASSES, HEARING)


def test_closed_streams(good):
    done = in_shell(good, "sidegate check . >&-")
    assert (done.returncode, done.stderr.splitlines()) == (2, [*HEARING, CLOSED])
    done = in_shell(
        good, f"sidegate check . --out json={good.temporary}/r.json >&-; e=$?; rm {good.temporary}/r.json; exit $e"
    )
    assert (done.returncode, CLOSED in done.stderr) == (0, False)  # nothing was to go to stdout
    done = in_shell(good, "sidegate check . 2>&-")
    assert (done.returncode, done.stdout[:4]) == (0, "PASS")
    assert in_shell(good, "sidegate check no-such.yaml >&- 2>&-").returncode == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
def test_a_full_disk_for_stdout(good):
    for words in ("check . --out json=-", "schema report", "rulesets"):
        done = in_shell(good, f"sidegate {words} >/dev/full")
        assert done.returncode == 2
        assert done.stderr.splitlines()[-1] == (
            "sidegate: stdout cannot be written: No space left on device; send it elsewhere"
        )
        assert "Exception ignored" not in done.stderr


# -- hostile names -----------------------------------------------------------------------------------------------


def assert_tame(text, wide=None):
    """Nothing in a text steers a terminal."""
    for line in text.split("\n"):
        assert line.isprintable(), line
        assert wide is None or len(line) <= wide


def delivered(bench, title, name):
    text = DELIVERY
    for old, new in (("Quiet Harbour", title), ("Slack Water", title), ("side-a.wav", name)):
        text = text.replace(old, json.dumps(new, ensure_ascii=False))
    bench.deliver(text)
    (bench.folder / "side-a.wav").rename(bench.folder / name)


@pytest.mark.parametrize("title", [HOSTILE, LONG, "\u0301\u0301combining", "=cmd()", "</script><b>"])
def test_titles_and_names_that_are_out_to_steer(bench, title):
    name = title.strip()[:60].rstrip().replace("/", "|") + ".wav"
    delivered(bench, title, name)
    text = bench.output.parent / "report.txt"
    ran = bench.check("--out", f"text={text}")
    assert ran.code == 0, ran.err
    assert ran.report["delivery"]["title"] == title.strip()
    assert ran.report["sides"][0]["audio"]["file"] == name
    assert_tame(ran.err)
    assert_tame(text.read_text(encoding="utf-8"), wide=96)
    (bench.folder / name).unlink()
    ran = bench.check("--out", f"text={text}")
    assert ran.code == 1
    assert ran.result("delivery.audio-disagrees")["findings"][0]["message"] == f"{name} is not there"
    assert_tame(ran.err)
    assert_tame(text.read_text(encoding="utf-8"), wide=96)


@pytest.mark.parametrize("name", ["\x1b[2J\x1b]0;owned\x07.yaml", "new\nline.yaml", "\U0001f30a.yaml", b"d\xff.yaml"])
def test_delivery_files_whose_names_are_out_to_steer(bench, name):
    path = bench.folder / os.fsdecode(name)
    bench.deliver()
    (bench.folder / "delivery.yaml").rename(path)
    ran = bench.check(delivery=path)
    assert ran.code == 0, ran.err
    assert ran.report["delivery"]["file"].endswith(".yaml")
    assert_tame(ran.err)
    shown = bench.run("check", path)
    assert shown.code == 0
    assert_tame(shown.out.decode())
    path.write_text(DELIVERY + "colour: black\n")
    assert_tame(one_sentence(bench.check(delivery=path)))
    assert_tame(one_sentence(bench.check(delivery=f"{path}x")))


def test_a_place_for_the_report_whose_name_is_out_to_steer(good):
    place = good.output / "\x1b[2J\nreport.json"
    ran = good.run("check", good.folder, "--out", f"json={place}")
    assert (ran.code, ran.left) == (0, [place.name])
    assert_tame(ran.err)
    place.unlink()
    assert_tame(one_sentence(good.check("--out", "json\x1b[2J=x")))
    assert_tame(one_sentence(good.check("--out", "text=\x1b[2J/x")))
    assert_tame(one_sentence(good.check("--side", "\x1b[2J")))
    assert_tame(one_sentence(good.check("--ruleset", "\x1b[2J\n")))


def test_silence_and_extremes_are_json(bench):
    """No infinity and no NaN gets into the report: silence has a bound, not a level."""
    bench.deliver()
    x = programme()
    x[:, 1] = 0.0
    soundfile.write(bench.folder / "side-a.wav", x, RATE, subtype="FLOAT")
    soundfile.write(bench.folder / "side-b.wav", np.sign(x[:, :1]) * 90.0, RATE, subtype="FLOAT")
    ran = bench.check()  # reads it back without Infinity and NaN
    assert ran.code == 1
    assert ran.report["plugin_failures"] == []
    assert ran.outcomes("B")["delivery.audio-disagrees"] == "pass"
