"""Tags that ffmpeg, metaflac and libsndfile write, and chunks made by hand after the published layouts."""

from __future__ import annotations

import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from qc.audio.tags.model import FileTags
from qc.audio.tags.read import read_tags
from support.tagged import bext, chunk, cue, info, wav

GIVEN = {
    "title": "Quiet Härbour", "album": "The Album", "comment": "side B master", "track": "2", "ISRC": "XX-QQQ-26-00001",
}  # fmt: skip


def values(tags: FileTags) -> dict[str, str]:
    return {tag.about: tag.value for tag in tags.tags if tag.about}


def by_ffmpeg(path: Path, *words: str, **given: str) -> FileTags:
    texts = [word for key, value in given.items() for word in ("-metadata", f"{key}={value}")]
    tone = ["-f", "lavfi", "-i", "sine=frequency=440:duration=0.2:sample_rate=48000"]
    subprocess.run(["ffmpeg", "-v", "error", *tone, *words, *texts, str(path)], check=True)
    return read_tags(path)


needs_ffmpeg = pytest.mark.ffmpeg


@needs_ffmpeg
@pytest.mark.parametrize(
    ("name", "source", "words"),
    [("a.wav", "RIFF INFO", ()), ("a.flac", "Vorbis comment", ()), ("a.aiff", "ID3", ("-write_id3v2", "1"))],
)
def test_what_ffmpeg_writes_is_read(tmp_path: Path, name: str, source: str, words: tuple[str, ...]):
    tags = by_ffmpeg(tmp_path / name, *words, **GIVEN)
    expected = {"title": "title", "album": "album", "comment": "text", "track": "track", "ISRC": "isrc"}
    assert values(tags) == {about: GIVEN[key] for key, about in expected.items()}
    assert source in {tag.source for tag in tags.tags}
    assert not tags.notes


@needs_ffmpeg
def test_the_broadcast_chunk_of_ffmpeg_is_read(tmp_path: Path):
    given = {"description": "QH-007 Side A", "originator": "room 2", "origination_date": "2026-03-01",
             "time_reference": str(2**33 + 5)}  # fmt: skip
    tags = by_ffmpeg(tmp_path / "a.wav", "-write_bext", "1", **given)
    bext_tags = {tag.key: tag.value for tag in tags.tags if tag.source == "BWF bext"}
    assert bext_tags == {"Description": "QH-007 Side A", "Originator": "room 2", "OriginationDate": "2026-03-01",
                         "TimeReference": str(2**33 + 5)}  # fmt: skip


@needs_ffmpeg
def test_the_free_names_of_flac_and_id3_find_their_subject(tmp_path: Path):
    for name, words in (("a.flac", ()), ("a.aiff", ("-write_id3v2", "1"))):
        tags = by_ffmpeg(tmp_path / name, *words, CATALOGNUMBER="QH-007", Side="B")
        assert values(tags) == {"catalogue": "QH-007", "side": "B"}


@pytest.mark.parametrize("kind", ["WAV", "AIFF", "FLAC"])
def test_the_title_that_libsndfile_writes_is_read(tmp_path: Path, kind: str):
    with soundfile.SoundFile(tmp_path / "a", "w", 48_000, 2, format=kind) as out:
        out.title = "Quiet Harbour"
        out.write(np.zeros((100, 2)))
    assert values(read_tags(tmp_path / "a"))["title"] == "Quiet Harbour"


@pytest.mark.skipif(shutil.which("metaflac") is None, reason="needs metaflac")
def test_the_cue_sheet_that_metaflac_writes_is_read(tmp_path: Path):
    path, sheet = tmp_path / "a.flac", tmp_path / "a.cue"
    soundfile.write(path, np.zeros((44_100 * 10, 2)), 44_100)
    tracks = ["  TRACK 01 AUDIO\n    ISRC XXQQQ2600001\n    INDEX 01 00:00:00",
              "  TRACK 02 AUDIO\n    INDEX 00 00:03:00\n    INDEX 01 00:04:15"]  # fmt: skip
    sheet.write_text('CATALOG 4006381333931\nFILE "a.flac" WAVE\n' + "\n".join(tracks) + "\n")
    subprocess.run(["metaflac", f"--import-cuesheet-from={sheet}", str(path)], check=True)
    tags = read_tags(path)
    assert [(p.track, p.second, p.isrc) for p in tags.cue_points] == [(1, 0.0, "XXQQQ2600001"), (2, 4.2, "")]
    assert values(tags) == {"catalogue": "4006381333931"}


def test_cue_points_have_their_labels_and_seconds(tmp_path: Path):
    tags = read_tags(wav(tmp_path / "a.wav", cue([24_000, 0], ["Second", "First"]), behind=True))
    assert [(p.second, p.label) for p in tags.cue_points] == [(0.0, "First"), (0.5, "Second")]


def test_the_loudness_of_a_broadcast_chunk_is_read_from_version_2_on(tmp_path: Path):
    levels = [-2310, 720, -105, 0x7FFF, -1800]
    tags = read_tags(wav(tmp_path / "a.wav", bext("x", "2026-03-01", loudness=levels)))
    assert {tag.key: tag.value for tag in tags.tags if tag.key.startswith(("Loud", "Max"))} == {
        "LoudnessValue": "-23.10 LUFS", "LoudnessRange": "7.20 LU", "MaxTruePeakLevel": "-1.05 dBTP",
        "MaxShortTermLoudness": "-18.00 LUFS",
    }  # fmt: skip
    first = read_tags(wav(tmp_path / "b.wav", bext("x", "2026-03-01")))
    assert not any(tag.key.startswith("Loud") for tag in first.tags)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_the_texts_of_an_ixml_chunk_are_read(tmp_path: Path, encoding: str):
    text = (
        f'<?xml version="1.0" encoding="{encoding}"?><BWFXML><PROJECT>Härbour</PROJECT><NOTE>Side\nB</NOTE>'
        "<BEXT><BWF_DESCRIPTION>QH-007</BWF_DESCRIPTION></BEXT><SPEED><NOTE>other</NOTE></SPEED></BWFXML>"
    )
    tags = read_tags(wav(tmp_path / "a.wav", chunk(b"iXML", text.encode(encoding) + bytes(200))))
    assert [(tag.key, tag.value) for tag in tags.tags] == [
        ("PROJECT", "Härbour"), ("NOTE", "Side B"), ("BWF_DESCRIPTION", "QH-007"),
    ]  # fmt: skip
    assert not tags.notes


def test_id3_texts_of_all_encodings_are_read(tmp_path: Path):
    texts = [b"\0B\xfcro", b"\1" + "Büro".encode("utf-16"), b"\2" + "Büro".encode("utf-16-be"), b"\3" + "Büro".encode()]
    for version in (3, 4):
        frames = b"".join(b"TIT2" + struct.pack(">IH", len(text), 0) + text for text in texts)
        picture = b"APIC" + struct.pack(">IH", 100, 0) + bytes(100)
        body = picture + frames
        size = bytes([0, 0, len(body) >> 7, len(body) & 127])
        tags = read_tags(wav(tmp_path / "a.wav", chunk(b"id3 ", b"ID3" + bytes([version, 0, 0]) + size + body)))
        assert [tag.value for tag in tags.tags] == ["Büro"] * 4


def test_aiff_markers_and_comments_are_read(tmp_path: Path):
    soundfile.write(tmp_path / "a.aiff", np.zeros((44_100, 2)), 44_100, format="AIFF")
    octets = (tmp_path / "a.aiff").read_bytes()
    markers = (
        struct.pack(">H", 2) + struct.pack(">hIB", 1, 22_050, 3) + b"Two" + struct.pack(">hIB", 2, 0, 4) + b"One.\0"
    )
    comment = struct.pack(">HIhH", 1, 0, 0, 6) + b"side B"
    more = chunk(b"MARK", markers, ">") + chunk(b"COMT", comment, ">")
    (tmp_path / "a.aiff").write_bytes(octets[:4] + struct.pack(">I", len(octets) - 8 + len(more)) + octets[8:] + more)
    tags = read_tags(tmp_path / "a.aiff")
    assert [(p.second, p.label) for p in tags.cue_points] == [(0.0, "One."), (0.5, "Two")]
    assert values(tags) == {"text": "side B"}


def test_control_characters_are_made_visible(tmp_path: Path):
    tags = read_tags(wav(tmp_path / "a.wav", info(INAM="Quiet\x1b[31m\r\n\u202eHarbour")))
    assert tags.tags[0].value == r"Quiet\x1b[31m \u202eHarbour"


def test_a_file_without_tags_says_nothing(tmp_path: Path):
    assert read_tags(wav(tmp_path / "a.wav"), "side-a.wav", 3) == FileTags("side-a.wav", 3)
