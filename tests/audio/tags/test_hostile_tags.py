"""Damaged and hostile tags: no error, little memory, at most a note."""

from __future__ import annotations

import random
import struct
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import soundfile

from qc.audio.tags.collected import LONGEST_VALUE, MOST_TAGS
from qc.audio.tags.read import MOST_BYTES, read_tags
from support.tagged import bext, chunk, cue, info, wav

LITTLE = 6 * MOST_BYTES
"""Bytes of memory that reading may take: what is read, and the texts made of it, of up to four bytes a character."""


def peak_of(path: Path) -> int:
    read_tags(path)
    tracemalloc.start()
    read_tags(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_sixteen_megabytes_of_history_are_passed_over(tmp_path: Path):
    path = wav(tmp_path / "a.wav", bext("Side A", "2026-03-01", history=b"A=PCM\r\n" * 2_400_000), info(INAM="Title"))
    assert peak_of(path) < 1 << 18
    tags = read_tags(path)
    assert [tag.value for tag in tags.tags if tag.about] == ["Side A", "2026-03-01", "Title"]
    assert not tags.notes


def test_entities_do_not_expand(tmp_path: Path):
    levels = "".join(f'<!ENTITY e{i + 1} "{f"&e{i};" * 10}">' for i in range(9))
    text = f'<!DOCTYPE x [<!ENTITY e0 "ha">{levels}]><BWFXML><NOTE>&e9;</NOTE></BWFXML>'
    path = wav(tmp_path / "a.wav", chunk(b"iXML", text.encode()))
    assert peak_of(path) < 1 << 18
    assert read_tags(path).notes == ("has an iXML chunk that is not well formed",)
    assert not read_tags(path).tags


def test_an_entity_reads_no_other_file(tmp_path: Path):
    (tmp_path / "secret").write_text("secret")
    text = f'<!DOCTYPE x [<!ENTITY e SYSTEM "{tmp_path / "secret"}">]><BWFXML><NOTE>&e;</NOTE></BWFXML>'
    assert not read_tags(wav(tmp_path / "a.wav", chunk(b"iXML", text.encode()))).tags


@pytest.mark.parametrize(
    "text", [b"<a>" * 80_000, b"<BWFXML><NOTE>", b"\xff\xfe<", b"no xml", b"<?xml version='1.0' encoding='x'?><a/>"]
)
def test_broken_xml_becomes_a_note(tmp_path: Path, text: bytes):
    tags = read_tags(wav(tmp_path / "a.wav", chunk(b"iXML", text)))
    assert tags.notes == ("has an iXML chunk that is not well formed",)


def test_very_many_and_very_long_tags_take_little_memory(tmp_path: Path):
    long = chunk(b"LIST", b"INFO" + b"".join(chunk(b"ICMT", b"x" * 100_000) for _ in range(300)))
    labels = b"".join(chunk(b"labl", struct.pack("<I", i) + b"y" * 5_000) for i in range(390))
    path = wav(tmp_path / "a.wav", long, *[chunk(b"LIST", b"adtl" + labels)] * 20, cue(range(5_000)))
    assert peak_of(path) < LITTLE
    tags = read_tags(path)
    assert len(tags.tags) <= MOST_TAGS
    assert all(len(tag.value) <= LONGEST_VALUE for tag in tags.tags)


def test_a_picture_in_a_flac_comment_is_passed_over(tmp_path: Path):
    path = tmp_path / "a.flac"
    soundfile.write(path, np.zeros((1000, 2)), 48_000)
    octets = path.read_bytes()
    comments = [b"METADATA_BLOCK_PICTURE=" + b"A" * 8_000_000, b"TITLE=Quiet Harbour"]
    block = struct.pack("<II", 0, len(comments)) + b"".join(struct.pack("<I", len(c)) + c for c in comments)
    head = bytes([4]) + len(block).to_bytes(3, "big")
    path.write_bytes(octets[:42] + head + block + octets[42:])
    assert peak_of(path) < 1 << 18
    assert [tag.value for tag in read_tags(path).tags if tag.about == "title"] == ["Quiet Harbour"]


def whole_files(folder: Path) -> list[bytes]:
    first = wav(
        folder / "a.wav", bext("Side A", "2026-03-01", reference=5), info(INAM="Title", ICMT="Comment"),
        chunk(b"iXML", b"<BWFXML><NOTE>Side A</NOTE></BWFXML>"), cue([0, 100], ["One", "Two"]),
        chunk(b"id3 ", b"ID3\4\0\0\0\0\0\x0fTIT2\0\0\0\5\0\0\3abcd"), samples=np.zeros((2, 200)),
    )  # fmt: skip
    for kind in ("AIFF", "FLAC"):
        with soundfile.SoundFile(folder / kind, "w", 48_000, 2, format=kind) as out:
            out.title, out.comment = "Title", "Comment"
            out.write(np.zeros((200, 2)))
    return [first.read_bytes(), (folder / "AIFF").read_bytes(), (folder / "FLAC").read_bytes()]


def test_no_changed_byte_and_no_cut_makes_an_error(tmp_path: Path):
    chance, path = random.Random(5), tmp_path / "b"
    for octets in whole_files(tmp_path):
        end = min(len(octets), 1800)
        for _ in range(1500):
            changed = bytearray(octets)
            for _ in range(chance.randint(1, 4)):
                changed[chance.randrange(4, end)] = chance.choice([0, 1, 4, 127, 128, 255, chance.randrange(256)])
            path.write_bytes(changed[: chance.choice([len(changed), chance.randrange(len(changed))])])
            for tag in read_tags(path).tags:
                assert tag.value.isprintable()
