"""`sidegate init`: drafts that `sidegate check` reads as they are, and what is refused before anything is written."""

from __future__ import annotations

import hashlib
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from qc.delivery.reader import read_delivery
from qc.draft.silence_split import found_tracks
from qc.groove.signal.programme import ProgrammeBounds
from qc.testing.music import Song, song
from support.command import RATE, one_sentence, programme

FRAME = Fraction(1, 75)
SHEET = """\
PERFORMER "The Breakwaters"
TITLE "Low: Light"
CATALOG 0000000000000
FILE "side-a.wav" WAVE
  TRACK 01 AUDIO
    TITLE "Slack # Water"
    ISRC XXQH12600001
    INDEX 01 00:00:20
  TRACK 02 AUDIO
    TITLE "“Bell” Buoy"
    PREGAP 00:02:00
    INDEX 00 00:01:00
    INDEX 01 00:01:10
"""


def put(bench, name, samples=None, rate=RATE, **more):
    (bench.folder / name).parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(bench.folder / name, programme() if samples is None else samples, rate, **more)


def drafted(bench, *words, out="delivery.yaml"):
    """Run init; it must say one sentence at its end, leave nothing but the draft, and check must read it."""
    before = set(bench.folder.rglob("*"))
    ran = bench.run("init", *words)
    assert ran.code == 0, ran.err
    assert ran.out == b""
    assert ran.sentences[-1].startswith("sidegate: wrote ")
    assert set(bench.folder.rglob("*")) - before == {bench.folder / out}
    return read_delivery(bench.folder / out).delivery


def test_the_tracks_of_music_with_known_gaps(bench):
    """As the demo's sides: 1.5 s before, 2 s between, 3 s behind; and 0.9 s, little more than what parts tracks."""
    rate, gaps = 44_100, (1.5, 2.0, 0.9, 3.0)
    songs = [0.7 * song(Song(8.0, rate, seed=seed, tempo=100.0 + seed)).T for seed in (11, 12, 13)]
    fade = 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, rate // 10))[:, None]  # a hard end rings on in the high-pass
    for samples in songs:
        samples[-len(fade) :] *= fade
    parts, times, at = [], [], 0
    for gap, samples in zip(gaps, [*songs, np.zeros((0, 2))], strict=True):
        at += round(gap * rate)
        parts += [np.zeros((round(gap * rate), 2)), samples]
        times.append((Fraction(at, rate), Fraction(at + len(samples), rate)))
        at += len(samples)
    put(bench, "side-a.wav", np.concatenate(parts), rate, subtype="PCM_24")
    got = drafted(bench, "side-a.wav").side("A").tracks
    assert len(got) == 3
    for track, (start, end) in zip(got, times, strict=False):
        assert abs(track.start - start) <= FRAME
        assert abs(track.end - end) <= FRAME
    text = (bench.folder / "delivery.yaml").read_text()
    assert [f"silence of {gap} s before" in text for gap in ("1.5", "2.0", "0.9")] == [True] * 3


def test_a_track_that_ends_hard_ends_with_its_window(bench):
    """A tone of 40 Hz is cut off at full height: what the high-pass of the programme makes of that is no sound."""
    rate = 48_000
    t = np.arange(4 * rate) / rate
    tone = 0.7 * np.cos(2.0 * np.pi * 40.0 * t)[:, None] * np.ones(2)
    tone[: rate // 10] *= np.linspace(0.0, 1.0, rate // 10)[:, None]
    silence = np.zeros((2 * rate, 2))
    put(bench, "side-a.wav", np.concatenate([silence, tone, silence, tone, silence]), rate, subtype="PCM_24")
    first, second = drafted(bench, "side-a.wav").side("A").tracks
    assert (first.start, first.end, second.start, second.end) == (2, 6, 8, 12)
    assert (bench.folder / "delivery.yaml").read_text().count("silence of 2.0 s before") == 2


def test_a_draft_is_judged_as_it_is(bench):
    put(bench, "side-a.wav", subtype="PCM_24")
    put(bench, "more/side b.flac", programme(2.5), format="FLAC", subtype="PCM_16")
    got = drafted(bench, "side-a.wav", "more/side b.flac")
    assert [(side.id, side.audio) for side in got.sides] == [("A", "side-a.wav"), ("B", "more/side b.flac")]
    assert got.side("A").sha256 == hashlib.sha256((bench.folder / "side-a.wav").read_bytes()).hexdigest()
    ran = bench.check()
    assert ran.code == 0, ran.err
    assert ran.report["sides"][0]["audio"]["checked"] == ["sha256 of the delivery"]


def test_tracks_of_a_sheet(bench):
    put(bench, "side-a.wav")
    (bench.folder / "side.cue").write_bytes(SHEET.replace("\n", "\r\n").encode("cp1252"))
    got = drafted(bench, "side-a.wav", "--cue", "side.cue")
    assert got.title == "Low: Light"
    one, two = got.side("A").tracks
    assert (one.number, one.title, one.isrc, two.title) == (1, "Slack # Water", "XXQH12600001", "“Bell” Buoy")
    assert [int(t * 75) for t in (one.start, two.start)] == [20, 85]  # sectors, not one before
    assert one.end <= 1 < one.end + Fraction(1, 100_000)
    assert two.end == 2
    text = (bench.folder / "delivery.yaml").read_text()
    for part in (
        "from the CUE sheet; it asks for 2.0 s of silence before",
        "performer The Breakwaters",
        "0000000000000",
    ):
        assert part in text
    assert bench.check().code == 0


def test_a_sheet_of_two_sides_and_a_file_it_does_not_name(bench):
    for name in ("side-a.flac", "side-b.flac", "side-c.flac"):
        put(bench, name)
    more = 'FILE "D:\\in\\side-b.wav" WAVE\n  TRACK 03 AUDIO\n    INDEX 01 00:00:00\n'
    (bench.folder / "side.cue").write_text(SHEET + more)
    got = drafted(bench, "side-c.flac", "side-a.flac", "side-b.flac", "--cue", "side.cue")
    assert [[t.number for t in side.tracks] for side in got.sides] == [[1], [1, 2], [3]]
    assert "The CUE sheet names no track of this file" in (bench.folder / "delivery.yaml").read_text()


def test_one_file_a_track(bench):
    for seconds, name in ((2.0, "a1.wav"), (2.5, "a2.wav"), (3.0, "b1.wav")):
        put(bench, name, programme(seconds))
    got = drafted(bench, "--side", "A=a1.wav,a2.wav", "--side", "B=b1.wav")
    assert [[(t.audio, t.gap_after) for t in side.tracks] for side in got.sides] == [
        [("a1.wav", "mark"), ("a2.wav", None)], [("b1.wav", None)],
    ]  # fmt: skip
    ran = bench.check()
    assert ran.code == 0, ran.err
    assert ran.report["sides"][0]["audio"]["duration_s"] == 6.5


@pytest.mark.parametrize(
    ("out", "file"), [("new.yaml", "new.yaml"), ("more", "more/delivery.yaml"), (".", "delivery.yaml")]
)
def test_where_it_is_written(bench, out, file):
    put(bench, "more/side-a.wav")
    got = drafted(bench, "more/side-a.wav", "--out", out, out=file)
    assert got.sides[0].audio == ("side-a.wav" if out == "more" else "more/side-a.wav")


def test_names_are_written_as_yaml_reads_them(bench):
    names = ["ab: c #d.wav", "'x' \"y\".wav", "ünï.wav", "- [z].wav"]
    for name in names:
        put(bench, name)
    got = drafted(bench, *[f"./{name}" for name in names])
    assert [side.audio for side in got.sides] == names
    plain = YAML(typ="safe", pure=True).load((bench.folder / "delivery.yaml").read_bytes())
    assert [side["audio"] for side in plain["sides"]] == names


def refused(bench, *words):
    before = {path: path.read_bytes() for path in bench.folder.rglob("*") if path.is_file()}
    sentence = one_sentence(bench.run("init", *words))
    assert {path: path.read_bytes() for path in bench.folder.rglob("*") if path.is_file()} == before
    return sentence


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ([], "give the audio files, one a side, or --side ID=FILE,FILE..."),
        (["side-a.wav", "--side", "B=x.wav"], "give the audio files, one a side, or --side"),
        (["."], "init: . is a folder; name the audio files in it"),
        (["side-a.wav", "side-a.wav"], "side-a.wav is given twice"),
        (["--side", "A"], "--side A: write it as ID=FILE,FILE..."),
        (["--side", "A=side-a.wav", "--side", "a=x.wav"], "--side A: the side is given twice"),
        (["gone.wav"], "gone.wav is not there; check its name"),
        (["words.wav"], "words.wav cannot be read as audio"),
        (["side-a.wav", "--out", "no/such"], "there is no folder no/such; make it first"),
        (["side-a.wav", "--out", "there.yaml"], "there.yaml is there already and is left as it is"),
        (["side-a.wav", "--out", "more"], "side-a.wav lies outside more; write the delivery to a folder above"),
        (["side-a.wav", "--cue", "gone.cue"], "gone.cue: there is no such file; check the name of the CUE sheet"),
        (["side-a.wav", "--cue", "late.cue"], "late.cue:3: track 1 begins at 00:05:00, the file ends at 00:02:00"),
        (["side-a.wav", "x.wav", "--cue", "late.cue"], 'late.cue:1: "other.wav" is none of the audio files given'),
        (["side-a.wav", "--cue", "words.wav"], 'words.wav:1: "WORDS" is no command of a CUE sheet'),
        (["wrong.wav"], "wrong.wav has MD5"),
        (["c:.wav"], "c:.wav cannot be named in a delivery; give the file a name of plain letters"),
        (["link.wav"], "link.wav leads through a link out of .; put the file itself there"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_what_is_refused(bench, words, part):
    for name in ("side-a.wav", "x.wav", "wrong.wav", "c:.wav"):
        put(bench, name)
    (bench.folder / "words.wav").write_text("words words\n")
    (bench.folder / "there.yaml").write_text("kept\n")
    (bench.folder / "more").mkdir()
    (bench.folder / "late.cue").write_text('FILE "other.wav" WAVE\nTRACK 01 AUDIO\nINDEX 01 00:05:00\n')
    (bench.folder / "wrong.md5").write_text(f"{'0' * 32}  wrong.wav\n")
    (bench.folder / "side-a.wav").rename(bench.folder.parent / "elsewhere.wav")
    put(bench, "side-a.wav")
    (bench.folder / "link.wav").symlink_to("../elsewhere.wav")
    assert part in refused(bench, *words)


def test_a_silent_file(bench):
    put(bench, "silent.wav", np.zeros((RATE, 2)))
    ran = bench.run("init", "silent.wav")
    assert (ran.code, ran.out) == (2, b"")
    assert ran.sentences[-1] == (
        "sidegate: silent.wav holds no programme from start to end, only silence, noise, or sound too low or too high "
        "to cut; ask for the file again"
    )
    assert not (bench.folder / "delivery.yaml").exists()


# -- silences ------------------------------------------------------------------------------------------------------


@settings(max_examples=60)
@given(
    runs=st.lists(st.tuples(st.integers(1, 300), st.integers(1, 200)), min_size=1, max_size=8), lead=st.integers(0, 99)
)
def test_tracks_part_where_it_is_silent_long_enough(runs, lead):
    windows = [False] * lead + [loud for sound, gap in runs for loud in [True] * sound + [False] * gap]
    power = np.where(windows, 1e-3, 1e-9).astype(np.float32)
    there = np.flatnonzero(windows)
    got = found_tracks(ProgrammeBounds(int(there[0]), int(there[-1]), np.array([power, 0 * power]), len(windows) / 100))
    assert len(got) == 1 + sum(gap >= 80 for _, gap in runs[:-1])
    assert (got[0].start, got[-1].end) == (Fraction(lead, 100), Fraction(int(there[-1]) + 1, 100))
    for track, following in pairwise(got):
        assert following.start - track.end == following.silence_before >= Fraction(8, 10)


def test_nothing_is_found_in_silence():
    assert found_tracks(ProgrammeBounds(None, None, np.zeros((2, 50), dtype=np.float32), 0.5)) == ()
