"""`sidegate listen`: what it writes, that its numbers are those of its files, and what it refuses."""

from __future__ import annotations

import csv
import errno
import json
import math
import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

import qc_rulesets
from qc.listen.imperfections import OPTIONS
from qc.ruleset.sources import Sources
from qc.schemas.build import generated
from qc.testing.deliveries import Sent, deliver
from qc.testing.music import Song, song
from support.command import called, one_sentence

SCHEMA = Draft202012Validator(json.loads(generated("listen")))
START, END = 2.5, 4.0
FILE_RATE = 48_000


@pytest.fixture(scope="module")
def delivery(warm, tmp_path_factory):
    """A disc of two short sides, the first at a requested level, and a store."""
    folder = tmp_path_factory.mktemp("listen")
    sides = {
        "A": Sent(0.5 * song(Song(5.0, 44_100, seed=3, tempo=120.0, cymbals=3.0)), 44_100, more={"cut_level": "-3 dB"}),
        "B": Sent(0.3 * song(Song(5.0, 96_000, seed=4, tempo=100.0)), 96_000),
    }
    return deliver(folder / "delivery", sides), folder


def run(delivery, out, *words, side="A", at=f"{START}-{END}"):
    """Run the command into a new folder; return its report, its sounds by name (2, frames), and the screen."""
    path, folder = delivery
    words = ["listen", str(path), "--side", side, "--at", at, "--out", str(folder / out), *words]
    code, screen, err = called([*words, "--cache", str(folder / "store")])
    assert code == 0, err
    report = json.loads((folder / out / "listen.json").read_text(encoding="utf-8"))
    SCHEMA.validate(report)
    sounds = {path.name: soundfile.read(path)[0].T for path in (folder / out).glob("*.wav")}
    return report, sounds, screen.decode()


@pytest.fixture(scope="module")
def usual(delivery):
    return run(delivery, "usual", "--radius", "60mm", "--tip", "18um", "--tip", "8x18um")


def banded(x, low, high):
    """Spectrum of x (2, frames) in a band."""
    hz = np.fft.rfftfreq(x.shape[1], 1.0 / FILE_RATE)
    return np.fft.rfft(x)[:, (hz >= low) & (hz < high)]


def test_the_master_each_playback_and_each_difference_are_48_khz_24_bit(delivery, usual):
    report, sounds, _ = usual
    named = [report["master"], *(row[key] for row in report["renderings"] for key in ("file", "difference"))]
    assert sorted(sounds) == sorted(named)
    assert len(set(named)) == 1 + 2 * 6
    for name, sound in sounds.items():
        info = soundfile.info(delivery[1] / "usual" / name)
        assert (info.samplerate, info.subtype, info.format) == (48_000, "PCM_24", "WAV")
        assert sound.shape == (2, round((END - START) * 48_000))
        assert np.abs(sound).max() < 0.9


def test_own_and_requested_radius_and_each_tip_are_played(usual):
    report, _, _ = usual
    rows = report["renderings"]
    own = rows[0]["radius_mm"]
    assert [(row["radius_mm"], row["tip"]) for row in rows] == [
        (radius, tip) for radius in (own, 60.0) for tip in ("8 um", "18 um", "8 x 18 um")
    ]
    assert {(row["side"], row["start_s"], row["end_s"], row["level_db"]) for row in rows} == {("A", START, END, -3.0)}


def test_own_radius_is_that_of_the_side_at_that_second(delivery, usual):
    path, folder = delivery
    table = folder / "traces.csv"
    words = ["check", str(path), "--side", "A", "--out", f"traces={table}", "--cache", str(folder / "store")]
    assert called(words)[0] in {0, 1}
    with table.open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    there = min(rows, key=lambda row: abs(float(row["file second [s]"]) - START))
    assert usual[0]["renderings"][0]["radius_mm"] == pytest.approx(float(there["radius [mm]"]), abs=0.01)


def test_residual_and_loss_are_those_of_the_written_files(usual):
    """Worked out again from the sound files, whose ends are faded and whose top ends at 24 kHz."""
    report, sounds, _ = usual
    master = sounds[report["master"]]
    for row in report["renderings"]:
        for name, stated in row["residual_db"].items():
            low, high = (1_000.0 * float(part) for part in name.removesuffix(" kHz").split("-"))
            m, p = banded(master, low, high), banded(sounds[row["file"]], low, high)
            gain = (p * m.conj()).real.sum() / np.square(np.abs(m)).sum()
            left = np.square(np.abs(p - gain * m)).sum() / np.square(np.abs(gain * m)).sum()
            assert stated == pytest.approx(10.0 * math.log10(left), abs=0.3), name
            if name == "10-15 kHz":  # equal loudness moves all of it by hundredths of a dB
                assert row["top_loss_db"] == pytest.approx(-20.0 * math.log10(gain), abs=0.1)


def test_a_blunter_tip_and_a_smaller_radius_distort_more(usual):
    rows = {(row["radius_mm"] == 60.0, row["tip"]): row for row in usual[0]["renderings"]}
    for key, worse in (((False, "8 um"), (False, "18 um")), ((False, "8 um"), (True, "8 um"))):
        assert rows[key]["residual_db"]["2-15 kHz"] < rows[worse]["residual_db"]["2-15 kHz"]
    assert rows[False, "8 x 18 um"]["residual_db"] == rows[False, "8 um"]["residual_db"]  # its radius along the groove


def test_all_files_are_equally_loud(usual):
    """K-weighted, by the filter of another package."""
    pyloudnorm = pytest.importorskip("pyloudnorm")
    meter = pyloudnorm.Meter(FILE_RATE, filter_class="DeMan", block_size=0.4)
    report, sounds, _ = usual
    loudness = [meter.integrated_loudness(sounds[name].T) for name in
                (report["master"], *(row["file"] for row in report["renderings"]))]  # fmt: skip
    assert max(loudness) - min(loudness) < 0.1


def test_the_difference_is_the_playback_less_the_master_at_its_best_level(usual):
    report, sounds, _ = usual
    master = sounds[report["master"]]
    for row in report["renderings"]:
        played, difference = sounds[row["file"]], sounds[row["difference"]]
        m, p = banded(master, 2_000.0, 15_000.0), banded(played, 2_000.0, 15_000.0)
        gain = (p * m.conj()).real.sum() / np.square(np.abs(m)).sum()
        assert np.abs(played - gain * master - difference).max() < 2e-3 * np.abs(master).max()


def test_the_screen_has_a_row_for_each_playback(usual):
    report, _, screen = usual
    lines = screen.splitlines()
    assert lines[0].startswith("side A, 0:02.500 to 0:04.000, as the disc will play it (disc-12in-33@")
    for row, line in zip(report["renderings"], lines[2:-1], strict=True):
        assert line.split()[0] == row["file"]
        assert f"{row['residual_db']['2-15 kHz']:.1f} dB" in line


def test_a_free_side_is_played_at_the_level_it_is_judged_at(delivery):
    path, folder = delivery
    report, _, _ = run(delivery, "free", side="B", at="0:01-2")
    checked = folder / "report.json"
    called(["check", str(path), "--out", f"json={checked}", "--cache", str(folder / "store")])
    side = json.loads(checked.read_text(encoding="utf-8"))["sides"][1]
    assert report["renderings"][0]["level_db"] == side["levels"]["judged"]["value"]


def test_levels_by_number_and_by_name_are_played_one_after_the_other(delivery):
    report, _, _ = run(delivery, "levels", "--level", "-6 dB", "--level", "3 dB")
    assert [row["level_db"] for row in report["renderings"]] == [-6.0, 3.0]
    low, high = (row["residual_db"]["2-15 kHz"] for row in report["renderings"])
    assert low < high


def test_a_tip_by_name_is_the_one_of_its_radii(delivery, usual):
    words = ["--radius", "60mm", "--tip", "spherical", "--tip", "elliptical"]
    assert run(delivery, "named", *words)[0]["renderings"] == usual[0]["renderings"]


def test_two_runs_write_the_same_bytes_with_any_number_of_threads(delivery, usual):
    folder = delivery[1]
    run(delivery, "again", "--radius", "60mm", "--tip", "18um", "--tip", "8x18um", "--workers", "1")
    for path in (folder / "usual").iterdir():
        assert path.read_bytes() == (folder / "again" / path.name).read_bytes(), path.name


def test_nothing_is_written_over(delivery, usual):
    path, folder = delivery
    before = {file: file.stat().st_mtime_ns for file in (folder / "usual").iterdir()}
    code, out, err = called(["listen", str(path), "--side", "A", "--at", "1-2", "--out", str(folder / "usual")])
    assert (code, out) == (2, b"")
    assert "is there already and is left as it is" in err
    assert {file: file.stat().st_mtime_ns for file in (folder / "usual").iterdir()} == before


def test_silence_has_no_residual_and_one_channel_plays_on_both_walls(warm, tmp_path):
    """A file of one channel is cut in both; its first seconds are digital silence."""
    x = np.concatenate([np.zeros(48_000), 0.4 * song(Song(2.0, 48_000, seed=5, tempo=110.0))[0]])
    soundfile.write(tmp_path / "a.wav", x, 48_000, subtype="PCM_24")
    text = "schema: 1\ntitle: One Channel\ndisc: {size: 7in, speed: 45}\nsides:\n  - {id: A, audio: a.wav}\n"
    (tmp_path / "delivery.yaml").write_text(text, encoding="utf-8")
    silent, sounds, screen = run((tmp_path, tmp_path), "silent", at="0-0.5")
    assert set(silent["renderings"][0]["residual_db"].values()) == {None}
    assert not any(sound.any() for sound in sounds.values())
    assert screen.splitlines()[2].split()[-5:] == ["-"] * 5
    spoken, sounds, _ = run((tmp_path, tmp_path), "spoken", at="1.5-2.5")
    master, played = sounds["master.wav"], sounds[spoken["renderings"][0]["file"]]
    assert np.array_equal(master[0], master[1])
    assert not np.array_equal(played[0], played[1])  # second harmonics of opposite sign: the pinch effect


IMPERFECT = {
    "--off-centre": "0.2mm",
    "--surface-noise": "-40dB",
    "--vertical-angle-error": "-3 deg",
    "--burnishing-facet": "5um",
}


def test_imperfections_are_in_the_report_and_in_the_row_of_each_playback(delivery):
    report, _, screen = run(delivery, "imperfect", *(word for option in IMPERFECT.items() for word in option))
    (row,) = report["renderings"]
    assert {(found["name"], found["value"], found["unit"], found["source"]) for found in row["imperfections"]} == {
        ("off centre", 0.2, "mm", "P-7"),
        ("surface noise", -40.0, "dB", "P-15"),
        ("vertical angle error", -3.0, "deg", "P-3"),
        ("burnishing facet", 5.0, "um", "C-5"),
    }
    lines = screen.splitlines()
    assert lines[1].split()[-1] == "imperfections"
    for words in ("off centre 0.2 mm", "surface noise -40 dB", "vertical angle error -3 deg", "burnishing facet 5 um"):
        assert words in lines[2]
    assert "off centre (P-7)" in lines[-1]


def test_without_imperfections_none_is_named(usual):
    report, _, screen = usual
    assert {tuple(row["imperfections"]) for row in report["renderings"]} == {()}
    assert "mperfections" not in screen


def test_an_off_centre_hole_sways_the_sound_and_leaves_the_residual(delivery, usual):
    """P-7: the speed swings by eccentricity / radius; half a turn on, the groove is twice the eccentricity ahead."""
    report, sounds, _ = run(delivery, "swaying", "--off-centre", "0.2mm", at="0.6-4.0")
    even, plain, _ = run(delivery, "even", at="0.6-4.0")
    (row,), (steady,) = report["renderings"], even["renderings"]
    for band, value in steady["residual_db"].items():
        assert row["residual_db"][band] == pytest.approx(value, abs=0.1)
    swaying, straight = (rows[name][0] for rows, name in ((sounds, row["file"]), (plain, steady["file"])))
    speed = 2.0 * math.pi * (100.0 / 3.0) / 60.0 * row["radius_mm"] / 1e3
    half_turn = round(0.9 * FILE_RATE)  # from the passage's beginning, less the lead of 0.1 s
    start, size = half_turn - round(0.1 * FILE_RATE), 4_800
    late = [float(np.dot(straight[start + i : start + i + size], swaying[start : start + size])) for i in range(200)]
    assert int(np.argmax(late)) / FILE_RATE == pytest.approx(2.0 * 0.2e-3 / speed, abs=1.5 / FILE_RATE)


def test_surface_noise_is_part_of_what_playback_adds(delivery, usual):
    quiet, noisy = (usual[0]["renderings"][0], run(delivery, "noisy", "--surface-noise", "-30dB")[0]["renderings"][0])
    assert noisy["residual_db"]["10-15 kHz"] > quiet["residual_db"]["10-15 kHz"]


def test_silence_with_surface_noise_can_be_heard(warm, tmp_path):
    text = "schema: 1\ntitle: Quiet\ndisc: {size: 7in, speed: 45}\nsides:\n  - {id: A, audio: a.wav}\n"
    x = np.concatenate([np.zeros(48_000), 0.4 * song(Song(2.0, 48_000, seed=5, tempo=110.0))[0]])
    soundfile.write(tmp_path / "a.wav", x, 48_000, subtype="PCM_24")
    (tmp_path / "delivery.yaml").write_text(text, encoding="utf-8")
    report, sounds, _ = run((tmp_path, tmp_path), "noise", "--surface-noise=-55 dB", at="0-0.5")
    assert np.square(sounds[report["renderings"][0]["file"]]).mean() > 0.0


def test_each_imperfection_is_described_with_its_source():
    code, screen, _ = called(["listen", "--help"])
    described = " ".join(screen.decode().split())
    listed = Sources([Path(str(qc_rulesets.qc_rulesets()))])
    assert code == 0
    for name, option in OPTIONS.items():
        assert option.source in listed
        assert f"({option.source}" in described.rpartition(f" --{name} ")[2].partition(" --")[0]


REFUSED = {
    "from -20 to 20 deg": ("--vertical-angle-error", "30deg"),
    "from 0.01 to 2 mm": ("--off-centre", "1cm"),
    "from -90 to -20 dB": ("--surface-noise", "loud"),
    "from 0.5 to 20 um": ("--burnishing-facet", "5"),
    "ends after": ("--at", "1.5-1.0"),
    "4:02-4:06": ("--at", "1.5"),
    "from 0.1 to 30 s": ("--at", "0-45"),
    "the passage ends at 0:03.000": ("--at", "1-3"),
    "lies outside the groove": ("--radius", "40mm"),
    "--radius: 40 mm lies outside the groove": ("--radius", f"40.{36 * '0'}mm"),
    "is no radius": ("--radius", "60"),
    "is no tip": ("--tip", "200um"),
    "disc-12in-33@1.0.0 names no such tip; write its radius as 18um": ("--tip", "spherical"),
    "names no such tip; known are elliptical, line contact, spherical; or write its radius as 18um": (
        "--tip",
        "round",
        "--ruleset",
        "disc-12in-33@3.0.0",
    ),
    'did you mean "spherical"?': ("--tip", "sferical", "--ruleset", "disc-12in-33@3.0.0"),
    "is out of reach": ("--level", "60 dB"),
    "is no level": ("--level", "loud"),
    "no such side": ("--side", "C"),
    "playbacks are too many": [word for mm in range(60, 90) for word in ("--radius", f"{mm}mm")],
    "make it first": ("--out", "nowhere/near"),
}


@pytest.mark.parametrize(("sentence", "words"), REFUSED.items(), ids=REFUSED)
def test_what_cannot_be_played_is_one_sentence(bench, sentence, words):
    bench.deliver()
    ran = bench.run(
        "listen",
        bench.folder,
        "--side",
        "A",
        "--at",
        "0.5-1.5",
        "--out",
        bench.output / "new",
        "--workers",
        "1",
        *words,
    )
    assert sentence in one_sentence(ran)


def test_a_folder_that_cannot_be_read_is_one_sentence(bench, monkeypatch):
    """Its permissions are injected: an administrator, as whom tests may run, reads every folder."""
    bench.deliver()
    locked = bench.output / "locked"
    locked.mkdir()
    listed = Path.iterdir

    def iterdir(folder):
        if folder.name == "locked":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return listed(folder)

    monkeypatch.setattr(Path, "iterdir", iterdir)
    ran = bench.run("listen", bench.folder, "--side", "A", "--at", "0.5-1.5", "--out", locked)
    assert (ran.code, ran.out, len(ran.sentences)) == (2, b"", 1)
    assert "the folder cannot be read (Permission denied); name another" in ran.sentences[0]


@pytest.mark.parametrize("full", ["mkdtemp", "fsync"])
def test_a_folder_that_cannot_be_written_is_one_sentence_and_nothing_is_left(bench, monkeypatch, full):
    """Before the first file, and in the middle of them: a disk that is full."""
    bench.deliver()
    before = sorted(path.name for path in bench.output.iterdir())

    def fails(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(tempfile if full == "mkdtemp" else os, full, fails)
    words = ["--at", "0.5-1.5", "--out", bench.output / "new", "--no-cache"]
    ran = bench.run("listen", bench.folder, "--side", "A", *words)
    assert (ran.code, ran.out) == (2, b"")
    assert ran.sentences[-1].endswith("new cannot be written: No space left on device; name another place")
    assert sorted(path.name for path in bench.output.iterdir()) == before


def test_a_side_that_cannot_be_decoded_is_refused(bench):
    bench.deliver()
    (bench.folder / "side-a.wav").write_bytes(b"no sound")
    ran = bench.run("listen", bench.folder, "--side", "A", "--at", "0-1", "--out", bench.output / "new")
    assert "side A cannot be played" in one_sentence(ran)
