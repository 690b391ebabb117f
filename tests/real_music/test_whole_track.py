"""A whole track of real music through the command in a process of its own, and against another meter.

The music is of Debian's wesnoth-1.16-music. Without it, or without ffmpeg, these tests are skipped and say so; with
SIDEGATE_MUSIC_REQUIRED set they fail instead.
"""

import json
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from qc.model.report import Report
from qc.testing.deliveries import JudgedReport, Sent, deliver
from support.command import COMMAND
from support.real_music import MUSIC, needed
from whole_array import levels, model

TRACK = MUSIC / "traveling_minstrels.ogg"  # 3:35, a wide range, and peaks between its samples above full scale
SECTOR = 1.0 / 75.0  # s; the file ends within its last sector, and places end with a sector
RULESET = files("qc_rulesets") / "disc-12in-33" / "2.0.0.yaml"

pytestmark = [pytest.mark.music, pytest.mark.long]

# starts the command from a small process: a child's peak memory would else count that of the tests themselves
COUNTED = """
import json, resource, subprocess, sys
code = subprocess.run(sys.argv[1:], stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=540).returncode
print(json.dumps([code, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss]))
"""


@dataclass(frozen=True)
class Checked:
    """A track as it was delivered, and what the command said of it."""

    folder: Path
    samples: np.ndarray
    """(2, frames), as written: 24 bit, full scale 1.0"""
    rate: int
    judged: JudgedReport
    text: str
    said: str

    @property
    def audio(self):
        return self.folder / "side-a.wav"

    @property
    def seconds(self):
        return self.samples.shape[1] / self.rate


def check(folder, out):
    """Run the command with both formats; gives the report, the text and what it said meanwhile."""
    text = out.with_suffix(".txt")
    words = [
        "check", str(folder), "--ruleset", str(RULESET), "--out", f"json={out}", "--out", f"text={text}", "--verbose",
        "--no-cache",
    ]  # fmt: skip

    done = subprocess.run([*COMMAND, *words], capture_output=True, check=False, text=True, timeout=540)
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert done.returncode in (0, 1), done.stderr
    judged = JudgedReport(done.returncode, json.loads(out.read_text(encoding="utf-8")))
    return judged, text.read_text(encoding="utf-8"), done.stderr


@pytest.fixture(scope="module")
def track():
    """The track as decoded, (2, frames) and its rate; some of its peaks lie above full scale."""
    needed(TRACK.exists(), f"no real music: {TRACK} is missing (Debian: wesnoth-1.16-music)")
    samples, rate = soundfile.read(TRACK)
    return samples.T, rate


@pytest.fixture(scope="module")
def whole(track, tmp_path_factory):
    """The track checked once for all tests here."""
    folder = tmp_path_factory.mktemp("whole")
    samples, rate = track
    deliver(folder, {"A": Sent(samples, rate, coding="PCM_24")})
    written, _ = soundfile.read(folder / "side-a.wav")
    judged, text, said = check(folder, folder / "report.json")
    return Checked(folder, written.T, rate, judged, text, said)


def decibels(magnitude):
    return 20.0 * np.log10(magnitude)


def test_real_track_through_the_whole_command(whole):
    """Nothing failed, everything was judged, and the numbers are those of this music."""
    report, side, value = whole.judged.report, whole.judged.side(), whole.judged.value

    Report.model_validate(report)
    schema = subprocess.run([*COMMAND, "schema", "report"], capture_output=True, check=True, timeout=60).stdout
    Draft202012Validator(json.loads(schema)).validate(report)
    assert report["plugin_failures"] == []
    assert "failed at" not in whole.said
    assert whole.judged.code == (1 if report["verdict"] == "fail" else 0)
    assert side["passes"] == 1

    audio = side["audio"]
    assert (audio["format"], audio["coding"], audio["channels"]) == ("WAV", "24 bit", 2)
    assert (audio["sample_rate"], audio["frames"]) == (whole.rate, whole.samples.shape[1])

    left, right = whole.samples
    assert value("level.sample_peak") == pytest.approx(decibels(np.abs(whole.samples).max()), abs=1e-9)
    assert value("level.sample_peak") <= value("level.true_peak") <= 3.0
    assert value("level.dc_offset") == pytest.approx(decibels(np.abs(whole.samples.mean(axis=1)).max()), abs=1e-6)
    assert value("stereo.balance") == pytest.approx(balance_of_programme(whole.samples, whole.rate), abs=1e-6)
    assert -1.0 <= value("stereo.correlation_min") <= np.sum(left * right) / np.sqrt(np.sum(left**2) * np.sum(right**2))
    assert -1.0 <= value("stereo.low_correlation") <= 1.0
    assert (
        -30.0 < value("loudness.integrated") < value("loudness.short_term_max") < value("loudness.momentary_max") < 0.0
    )
    assert 1.0 < value("loudness.range") < 30.0
    assert 0.0 <= value("layout.lead_in_silence") + value("layout.lead_out_silence") < 0.2 * whole.seconds

    everything_judged(report)
    laid_at_a_level_that_a_limit_rules(side)
    findings_inside_the_track(report, side, whole.seconds)
    text_says_the_same(whole)


def balance_of_programme(x, rate):
    """dB, right over left without direct current, of the parts of 10 ms above -60 dBFS rms in either channel."""
    part = round(rate / 100)
    whole = x[:, : x.shape[1] // part * part].reshape(2, -1, part)
    there = (whole**2).mean(axis=2).max(axis=0) > 1e-6
    left, right = whole[:, there].reshape(2, -1).var(axis=1)
    return 10.0 * np.log10(right / left)


def everything_judged(report):
    """Each check that the ruleset has limits for gave one result, and none of them failed to give one."""
    results = [result["check"] for result in report["results"]]
    assert sorted(results) == sorted(YAML(typ="safe").load(RULESET.read_text(encoding="utf-8"))["limits"])
    outcomes = {result["check"]: result["outcome"] for result in report["results"]}
    # no cut level was requested, there are no papers, and one side with one track has nothing to be compared with
    without = {
        "delivery.papers-disagree",
        "delivery.same-audio-twice",
        "groove.level-above-recommended",
        "layout.loudest-or-brightest-last",
        "loudness.sides-unequal",
    }
    assert {check for check, outcome in outcomes.items() if outcome == "not_applicable"} == without
    assert {outcome for check, outcome in outcomes.items() if check not in without} <= {"pass", "warn", "fail"}


def laid_at_a_level_that_a_limit_rules(side):
    """No level was requested, so the side is laid at the recommended one; that it is right is tested further down."""
    reached = side["levels"]
    assert reached["judged"] == reached["recommended"]
    assert -20.0 < reached["recommended"]["value"] < 20.0
    limits = YAML(typ="safe").load(RULESET.read_text(encoding="utf-8"))["limits"]
    assert reached["ruling"] in {
        f"{check}/{key}" for check, keys in limits.items() for key, limit in keys.items() if "sets_level" in limit
    }
    geometry = side["geometry"]
    assert geometry["finishing_diameter_mm"] < geometry["last_diameter_mm"] < geometry["outer_diameter_mm"]
    assert geometry["overlaps"] == 0


def findings_inside_the_track(report, side, seconds):
    geometry = side["geometry"]
    innermost, outermost = geometry["finishing_diameter_mm"] / 2.0, geometry["outer_diameter_mm"] / 2.0
    findings = [finding for result in report["results"] for finding in result["findings"]]
    assert findings  # a modern master cut as loud as it goes gives something to weigh
    for finding in findings:
        at = finding["location"]
        assert finding["limit"]["source"]
        assert finding["remedy"]
        if finding["check"] in {"loudness.outside-range", "layout.side-too-long"}:  # of the side as a whole
            assert (at["side"], at["start_s"]) == ("A", None)
            continue
        assert (at["side"], at["track"]) == ("A", 1), finding["message"]
        assert 0.0 <= at["start_s"] < seconds, finding["message"]
        assert at["end_s"] is None or at["start_s"] < at["end_s"] < seconds + SECTOR, finding["message"]
        assert innermost < at["radius_mm"] <= outermost, finding["message"]
    placed = [m["at"] for m in side["measurements"].values() if m.get("at")]
    assert all(0.0 <= at.get("start_s", 0.0) <= seconds for at in placed)
    assert all(at.get("end_s", 0.0) < seconds + SECTOR for at in placed)


def text_says_the_same(whole):
    text = " ".join(whole.text.split())
    for result in whole.judged.report["results"]:
        assert result["check"] in text
        for finding in result["findings"]:
            assert finding["message"] in text
    assert f"limited by {whole.judged.side()['levels']['ruling']}" in text
    assert f"loudness.integrated {whole.judged.value('loudness.integrated'):.1f} LUFS" in text


STEP = 0.1  # dB, of the search for levels


def broken(judged, side, which=None):
    """Name the limits that the numbers of a side do not keep: their warn values, or without a word what sets the level.

    The limits are the reference model's own, the numbers those of the report.
    """
    return {
        levels.NAMES[limit.measurement]
        for limit in model.limits_of()
        if (value := which or limit.sets) and not limit.holds(judged.value(limit.measurement, side), value)
    }


def test_a_step_above_its_levels_a_real_track_breaks_a_limit(whole, tmp_path):
    """Cut at the levels and a tenth of a dB above: up to there every limit holds, from there on one does not."""
    reached = whole.judged.side()["levels"]
    wanted = {
        "RAISED": reached["recommended"]["value"] + STEP,
        "CLEAN": reached["clean"]["value"],
        "UNCLEAN": reached["clean"]["value"] + STEP,
    }
    sides = {
        name: Sent(whole.samples, whole.rate, coding="PCM_24", more={"cut_level": f"{level:.1f} dB"})
        for name, level in wanted.items()
    }
    judged, _, _ = check(deliver(tmp_path, sides), tmp_path / "report.json")
    assert broken(whole.judged, "A") == set()
    assert reached["ruling"] in broken(judged, "RAISED")
    assert broken(judged, "CLEAN", "warn") == set()
    assert broken(judged, "UNCLEAN", "warn")
    for name in sides:  # no level depends on the one that is asked for
        others = judged.side(name)["levels"]
        assert all(others[key] == reached[key] for key in ("recommended", "clean", "ruling", "by_limit")), name


def test_levels_of_real_music_are_those_of_the_model(whole, tmp_path):
    """Twenty seconds of it, against a model that shares no code with the command.

    It is faded in and out: a hard cut is a click up to 22 kHz, and the levels would be those of the click.
    """
    ramp = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, whole.rate // 5))
    excerpt = whole.samples[:, 60 * whole.rate : 80 * whole.rate].copy()
    excerpt[:, : len(ramp)] *= ramp
    excerpt[:, -len(ramp) :] *= ramp[::-1]
    excerpt = excerpt.astype(np.float32).astype(np.float64)
    judged, _, _ = check(deliver(tmp_path, {"A": Sent(excerpt, whole.rate)}), tmp_path / "report.json")
    chain = model.Chain()
    side = model.side_of(excerpt, whole.rate, [(0.0, 20.0, True)], chain)
    assert levels.disagreements(judged.side()["levels"], side, chain) == []


@pytest.mark.ffmpeg
def test_real_track_agrees_with_ffmpeg(whole):
    """The summary of ffmpeg's meter, which has one decimal: half of its last digit is no disagreement.

    Beyond that half digit, each tolerance stands for one choice of ffmpeg's: its gates work on a histogram of
    0.01 LU (integrated, 0.01 LU); its percentiles are the histogram's bins, at a rank of its own rounding (range,
    0.05 LU: neighbouring ranks of this track lie less than 0.04 LU apart); and it looks for peaks at 192 kHz, which
    from 44.1 kHz is another grid of points than four to a sample, by a filter of its own (true peak, 0.05 dB).
    """
    needed(shutil.which("ffmpeg"), "no ffmpeg to compare with")
    words = ["-nostats", "-hide_banner", "-i", whole.audio, "-filter_complex", "ebur128=peak=true", "-f", "null", "-"]
    done = subprocess.run(["ffmpeg", *words], capture_output=True, check=True, text=True, timeout=540)
    summary = done.stderr[done.stderr.rindex("Summary:") :]

    def read(name, unit):
        (found,) = re.findall(rf"^ *{name}: +([+-]?[0-9.]+) {unit}$", summary, re.MULTILINE)
        return float(found)

    half_a_digit = 0.05
    value = whole.judged.value
    assert value("loudness.integrated") == pytest.approx(read("I", "LUFS"), abs=half_a_digit + 0.01)
    assert value("loudness.range") == pytest.approx(read("LRA", "LU"), abs=half_a_digit + 0.05)
    assert value("level.true_peak") == pytest.approx(read("Peak", "dBFS"), abs=half_a_digit + 0.05)
    assert value("level.true_peak") > value("level.sample_peak") + 0.5  # the peaks do lie between the samples


def same_however_packed(report):
    """Leave out of a report what tells of the run and of the file, and nothing else."""
    rest = json.loads(json.dumps(report))
    del rest["run"], rest["delivery"]["sha256"]
    for side in rest["sides"]:
        del side["audio"], side["declared"]["audio"]
    return rest


def test_flac_and_wav_of_a_real_track_give_the_same_report(whole, tmp_path):
    """The same 24 bits in a container that libsndfile decodes in other blocks: the same numbers to the last digit."""
    folder = deliver(tmp_path, {"A": Sent(whole.samples, whole.rate, container="FLAC", coding="PCM_24")})
    judged, _, _ = check(folder, tmp_path / "report.json")
    assert judged.side()["audio"]["format"] == "FLAC"
    assert judged.code == whole.judged.code
    assert same_however_packed(judged.report) == same_however_packed(whole.judged.report)


MIB_A_MINUTE = 5.0
RATIO = 1.25


@pytest.mark.skipif(sys.platform != "linux", reason="counts memory as Linux does")
def test_memory_does_not_grow_with_the_side(whole, tmp_path):
    """A side four times as long: what grows is the envelopes kept of it, neither the audio nor a copy for each level.

    A minute of this audio is 40 MiB as the command hears it (two channels of 64 bits), and the numbers of one level
    of the search, a sector each, are 0.3 MiB a minute: of about a hundred levels tried only a few may stay.
    """
    longer = deliver(tmp_path, {"A": Sent(np.tile(whole.samples, 4), whole.rate, coding="PCM_24")})
    peaks = []
    for folder in (whole.folder, longer):
        words = [*COMMAND, "check", str(folder), "--out", f"json={tmp_path / 'report.json'}", "--workers", "2"]
        words += ["--no-cache"]
        done = subprocess.run([sys.executable, "-c", COUNTED, *words], capture_output=True, check=True, timeout=600)
        code, kib = json.loads(done.stdout)
        assert code in (0, 1)
        peaks.append(kib / 1024.0)
    once, four_times = peaks
    more_minutes = 3.0 * whole.seconds / 60.0
    assert four_times - once < MIB_A_MINUTE * more_minutes, f"{once:.0f} MiB, then {four_times:.0f} MiB"
    assert four_times / once < RATIO, f"{once:.0f} MiB, then {four_times:.0f} MiB"
