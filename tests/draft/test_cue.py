"""CUE sheets: those that tools on this machine write, the forms that others write, and what cannot be used."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
from fractions import Fraction

import numpy as np
import pytest
import soundfile
from hypothesis import example, given
from hypothesis import strategies as st

from qc.draft.cue import matched, parse_cue, read_cue, written
from qc.model.errors import DeliveryError

PLAIN = """\
REM GENRE Invented
CATALOG 0000000000000
PERFORMER "The Breakwaters"
TITLE "Quiet Harbour"
FILE "side-a.wav" WAVE
  TRACK 01 AUDIO
    TITLE "Slack Water"
    ISRC XXQH12600001
    INDEX 01 00:01:37
  TRACK 02 AUDIO
    TITLE "Bell Buoy"
    PERFORMER "The Breakwaters"
    FLAGS DCP
    PREGAP 00:02:00
    INDEX 00 04:30:00
    INDEX 01 04:32:74
    INDEX 02 05:00:00
"""
# The form in which shntool 3.0.10 (mode "cue") writes: minutes with one digit, no texts.
BARE = 'FILE "joined.wav" WAVE\n  TRACK 01 AUDIO\n    INDEX 01 0:00:00\n  TRACK 02 AUDIO\n    INDEX 01 0:03:00\n'
# The form in which cueconvert 1.4.1 writes: no indentation, empty lines between the parts.
FLAT = """\
TITLE "Low Light"
PERFORMER "The Breakwaters"

FILE "t1.wav" WAVE
TRACK 01 AUDIO
TITLE "One"
ISRC XXQH12600001
INDEX 01 00:00:00

TRACK 02 AUDIO
TITLE "Two"
INDEX 00 00:01:70
INDEX 01 00:02:00
"""
# One file a track, the gap before a track at the end of the file before it, as rips leave it behind.
GAP_IN_THE_FILE_BEFORE = """\
FILE "01.wav" WAVE
  TRACK 01 AUDIO
    INDEX 01 00:00:00
  TRACK 02 AUDIO
    INDEX 00 03:58:00
FILE "02.wav" WAVE
    INDEX 01 00:00:00
"""


def read(text):
    return parse_cue(text if isinstance(text, bytes) else text.encode(), "s.cue")


def said(text):
    with pytest.raises(DeliveryError) as caught:
        read(text)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def changed(old, new):
    assert PLAIN.count(old) == 1
    return said(PLAIN.replace(old, new))


def test_a_sheet_is_read():
    sheet = read(PLAIN)
    assert (sheet.title, sheet.performer, sheet.catalog) == ("Quiet Harbour", "The Breakwaters", "0000000000000")
    assert [(file.name, file.kind, file.line) for file in sheet.files] == [("side-a.wav", "WAVE", 5)]
    one, two = sheet.tracks
    assert (one.number, one.title, one.isrc, one.performer) == (1, "Slack Water", "XXQH12600001", None)
    assert (two.pregap, two.postgap) == (2, 0)
    end = Fraction(400)
    assert [(t.number, a, b) for t, a, b in sheet.times(0, end)] == [
        (1, 1 + Fraction(37, 75), Fraction(270)), (2, 272 + Fraction(74, 75), end),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "change",
    [
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: text.replace("\n", "\r").encode(),
        lambda text: text.replace("    ", "\t").encode(),
        lambda text: text.replace("TRACK", "track").replace("INDEX", "Index").encode(),
        lambda text: text.replace('"side-a.wav"', "side-a.wav").encode(),
        lambda text: text.rstrip().encode(),
    ],
    ids=["a mark", "CRLF", "CR", "tabs", "small letters", "no quotation marks", "no last line end"],
)
def test_every_spelling_is_the_same(change):
    assert read(change(PLAIN)).tracks == read(PLAIN).tracks


@pytest.mark.parametrize("coding", ["utf-8", "latin-1", "cp1252"])
def test_codings(coding):
    assert read(PLAIN.replace("Bell Buoy", "Brücke über Øre").encode(coding)).tracks[1].title == "Brücke über Øre"


def test_quotation_marks_of_windows():
    text = PLAIN.replace("Bell Buoy", "“Bell” Buoy").encode("cp1252")
    assert read(text).tracks[1].title == "“Bell” Buoy"


def test_forms_of_other_tools():
    assert [t.begins.second for t in read(BARE).tracks] == [0, 3]
    flat = read(FLAT)
    assert [(t.title, a, b) for t, a, b in flat.times(0, Fraction(3))] == [
        ("One", 0, 1 + Fraction(70, 75)), ("Two", 2, 3),
    ]  # fmt: skip


def test_a_gap_at_the_end_of_the_file_before():
    sheet = read(GAP_IN_THE_FILE_BEFORE)
    assert [(t.number, a, b) for t, a, b in sheet.times(0, Fraction(240))] == [(1, 0, 238)]
    assert [(t.number, a, b) for t, a, b in sheet.times(1, Fraction(100))] == [(2, 0, 100)]


@pytest.mark.skipif(shutil.which("metaflac") is None, reason="metaflac is not on this machine")
def test_a_sheet_that_metaflac_writes(tmp_path):
    soundfile.write(tmp_path / "side-a.flac", np.zeros((7 * 44_100, 2)), 44_100, subtype="PCM_16")
    (tmp_path / "in.cue").write_text(FLAT)
    run = lambda *words: subprocess.run(["metaflac", *words, "side-a.flac"], cwd=tmp_path, check=True)  # noqa: E731
    run("--import-cuesheet-from=in.cue")
    run("--export-cuesheet-to=out.cue")
    sheet = read_cue(tmp_path / "out.cue")
    assert (sheet.files[0].name, sheet.files[0].kind) == ("side-a.flac", "FLAC")
    assert [(t.number, a, b) for t, a, b in sheet.times(0, Fraction(7))] == [
        (1, 0, 1 + Fraction(70, 75)), (2, 2, 7),
    ]  # fmt: skip
    assert sheet.tracks[0].isrc == "XXQH12600001"


@pytest.mark.skipif(shutil.which("shntool") is None, reason="shntool is not on this machine")
def test_a_sheet_that_shntool_writes(tmp_path):
    for name, seconds in (("1.wav", 3), ("2.wav", 4)):
        soundfile.write(tmp_path / name, np.zeros((seconds * 44_100, 2)), 44_100, subtype="PCM_16")
    done = subprocess.run(["shntool", "cue", "1.wav", "2.wav"], cwd=tmp_path, check=True, capture_output=True)
    assert [(a, b) for _, a, b in read(done.stdout).times(0, Fraction(7))] == [(0, 3), (3, 7)]


@pytest.mark.skipif(shutil.which("cueconvert") is None, reason="cueconvert is not on this machine")
def test_a_sheet_that_cueconvert_writes(tmp_path):
    (tmp_path / "in.cue").write_text(PLAIN)
    subprocess.run(["cueconvert", "-i", "cue", "-o", "cue", "in.cue", "out.cue"], cwd=tmp_path, check=True)
    assert [t.begins.second for t in read_cue(tmp_path / "out.cue").tracks] == [
        t.begins.second for t in read(PLAIN).tracks
    ]  # fmt: skip


# -- what cannot be used -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "line", "part"),
    [
        ("01 00:01:37", "01 00:01:75", 9, "seconds go to 59 and frames to 74"),
        ("01 00:01:37", "01 00:60:00", 9, "seconds go to 59 and frames to 74"),
        ("01 00:01:37", "01 0:01.5", 9, '"0:01.5" is not a time; write mm:ss:ff, with 75 frames to the second'),
        ("    INDEX 01 00:01:37\n", "", 6, "track 1 has no INDEX 01; say where it begins"),
        ("    INDEX 01 04:32:74\n", "", 10, "track 2 has no INDEX 01"),
        ("INDEX 00 04:30:00", "INDEX 00 00:01:36", 15, "00:01:36 lies before 00:01:37 of line 9"),
        ("INDEX 00 04:30:00", "INDEX 00 00:01:37", 15, "the track before has no length (see line 9)"),
        ("INDEX 00 04:30:00", "INDEX 01 04:30:00", 16, "track 2 has INDEX 01 twice (see line 15)"),
        ("INDEX 00 04:30:00", "INDEX 03 04:30:00", 16, "INDEX 01 stands behind INDEX 03; list them upwards"),
        ("TRACK 02", "TRACK 01", 10, "track 1 follows track 1; number the tracks upwards"),
        ("TRACK 01", "TRACK 00", 6, "tracks are numbered from 1"),
        ("TRACK 01 AUDIO", "TRACK 01 MODE1/2352", 6, "track 1 is of the kind MODE1/2352, not AUDIO"),
        ("TRACK 01 AUDIO", "TRACK one AUDIO", 6, "write it as TRACK 01 AUDIO"),
        ('"side-a.wav" WAVE', '"side-a.mp3" MP3', 5, "a file of the kind MP3 is not a master; ask for WAVE, AIFF or"),
        ('"side-a.wav" WAVE', '"side-a.bin" BINARY', 5, "a file of the kind BINARY cannot be read"),
        ('"side-a.wav" WAVE', '"side-a.wav"', 5, 'write it as FILE "side-a.wav" WAVE'),
        ('FILE "side-a.wav" WAVE\n', "", 5, "TRACK stands before the first FILE"),
        ("  TRACK 01 AUDIO\n", "", 7, "ISRC stands before the first TRACK"),
        ('TITLE "Slack Water"', 'TITLE "Slack Water', 7, "the quotation mark behind TITLE is never closed"),
        ("    FLAGS DCP", "    FLAG DCP", 13, '"FLAG" is no command of a CUE sheet'),
        ("Bell Buoy", "Bell\0Buoy", 11, "the unseen character U+0000"),
    ],
)
def test_a_fault_names_its_line(old, new, line, part):
    sentence = changed(old, new)
    assert sentence.startswith(f"s.cue:{line}: ")
    assert part in sentence


def test_what_is_no_sheet(tmp_path):
    assert said("") == "s.cue: the CUE sheet names no track; it needs FILE, TRACK and INDEX 01"
    assert "unseen character" in said(b"RIFF\0\0\0\0WAVE")
    assert "larger than 256 KiB" in said(b" " * 300_000)
    for name, part in (("gone.cue", "there is no such file"), (".", "this is a folder, not a CUE sheet")):
        with pytest.raises(DeliveryError, match=part):
            read_cue(tmp_path / name)


def test_a_sheet_of_another_file():
    with pytest.raises(DeliveryError) as caught:
        read(PLAIN).times(0, Fraction(200))
    assert str(caught.value) == (
        "s.cue:16: track 2 begins at 04:32:74, the file ends at 03:20:00; this sheet belongs to another file"
    )


def test_files_are_matched_by_name():
    sheet = read(GAP_IN_THE_FILE_BEFORE)
    assert matched(sheet, ["x/02.flac", "x/01.WAV"]) == {0: 1, 1: 0}
    assert matched(read(PLAIN), ["anything.flac"]) == {0: 0}
    with pytest.raises(DeliveryError, match=r's.cue:6: "02.wav" is none of the audio files given'):
        matched(sheet, ["01.wav", "03.wav"])


@given(st.integers(0, 99 * 60 * 75))
@example(225)  # 0:03:00
def test_times_come_back(frames):
    text = written(Fraction(frames, 75))
    assert read(BARE.replace("0:03:00", "9999:00:00").replace("0:00:00", text)).tracks[0].begins.second * 75 == frames


@given(st.one_of(st.binary(max_size=400), st.lists(st.sampled_from(PLAIN.splitlines())).map("\n".join)))
def test_no_sheet_makes_it_stumble(held):
    with contextlib.suppress(DeliveryError):
        assert all(1 in track.indexes for track in read(held).tracks)
