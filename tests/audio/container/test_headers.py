"""Headers against files that libsndfile writes, whole and cut off at every place, and ones made by hand."""

from __future__ import annotations

import os
import random
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.audio.container.digests import sha256_of
from qc.audio.container.headers import Header, read_header

FRAMES = 50
WHOLE = [
    (kind, subtype, channels)
    for kind, subtypes in {
        "WAV": ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "PCM_U8", "ALAW"),
        "WAVEX": ("PCM_16", "PCM_24", "FLOAT"),
        "RF64": ("PCM_16", "PCM_24", "FLOAT"),
        "AIFF": ("PCM_16", "PCM_24", "PCM_32", "FLOAT"),
    }.items()
    for subtype in subtypes
    for channels in (1, 2)
]


def written(path: Path, kind: str, subtype: str, channels: int, frames: int = FRAMES) -> bytes:
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, (frames, channels))
    soundfile.write(path, noise, 48_000, format=kind, subtype=subtype)
    return path.read_bytes()


def header(path: Path, data: bytes) -> Header:
    path.write_bytes(data)
    return read_header(path)


@pytest.mark.parametrize(("kind", "subtype", "channels"), WHOLE)
def test_a_whole_file_states_what_is_there(tmp_path: Path, kind: str, subtype: str, channels: int):
    written(tmp_path / "a", kind, subtype, channels)
    got = read_header(tmp_path / "a")
    container = {"WAVEX": "WAV", "AIFF": "AIFC" if subtype == "FLOAT" else "AIFF"}.get(kind, kind)
    assert (got.container, got.frames_stated, got.note) == (container, FRAMES, "")
    width = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8, "PCM_U8": 1, "ALAW": 1}[subtype]
    assert got.data_bytes_stated == got.data_bytes_there == FRAMES * channels * width
    assert not got.cut_off


@pytest.mark.parametrize(("kind", "subtype", "channels"), WHOLE)
def test_a_file_cut_off_anywhere_never_looks_whole(tmp_path: Path, kind: str, subtype: str, channels: int):
    whole = written(tmp_path / "a", kind, subtype, channels)
    full = read_header(tmp_path / "a")
    size = full.data_bytes_stated
    start = whole.index(b"SSND") + 16 if kind == "AIFF" else whole.index(b"data") + 8
    assert start + size == len(whole)
    for length in range(len(whole)):
        got = header(tmp_path / "b", whole[:length])
        if got.data_bytes_stated is None:
            assert got.note
            assert not got.cut_off
            assert length < start
        else:
            assert (got.frames_stated, got.data_bytes_stated) == (FRAMES, size)
            assert got.data_bytes_there == max(0, length - start)
            assert got.cut_off


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
def test_flac_states_frames_and_no_bytes(tmp_path: Path, subtype: str, channels: int):
    whole = written(tmp_path / "a", "FLAC", subtype, channels)
    got = read_header(tmp_path / "a")
    assert (got.container, got.frames_stated, got.data_bytes_stated, got.note) == ("FLAC", FRAMES, None, "")
    assert 0 < got.data_bytes_there < len(whole)
    for length in range(len(whole)):
        part = header(tmp_path / "b", whole[:length])
        assert not part.cut_off
        assert part.container in ({"FLAC"} if length >= 4 else {None})
        assert part.frames_stated in ({FRAMES} if length >= 26 else {None})


def test_flac_behind_tags(tmp_path: Path):
    whole = written(tmp_path / "a", "FLAC", "PCM_16", 2)
    tag = b"ID3\x04\x00\x00" + bytes([0, 0, 1, 2]) + bytes(130)
    footed = b"ID3\x04\x00\x10" + bytes([0, 0, 0, 5]) + bytes(15)
    for before in (tag, footed, tag + footed):
        assert header(tmp_path / "b", before + whole).frames_stated == FRAMES
    assert header(tmp_path / "b", tag + b"\xff\xfb").container is None


def test_flac_that_was_streamed(tmp_path: Path):
    whole = bytearray(written(tmp_path / "a", "FLAC", "PCM_16", 2))
    whole[21] &= 0xF0
    whole[22:26] = bytes(4)
    got = header(tmp_path / "b", bytes(whole))
    assert (got.container, got.frames_stated) == ("FLAC", None)
    assert "open" in got.note


# -- headers made by hand ----------------------------------------------------------------------------------


def chunk(name: bytes, body: bytes, order: str = "<", size: int | None = None) -> bytes:
    return name + struct.pack(f"{order}I", len(body) if size is None else size) + body + bytes(len(body) % 2)


def fmt(tag: int = 1, channels: int = 2, bits: int = 16, block: int | None = None, order: str = "<") -> bytes:
    block = channels * bits // 8 if block is None else block
    return chunk(b"fmt ", struct.pack(f"{order}HHIIHH", tag, channels, 48_000, 48_000 * block, block, bits), order)


def riff(*chunks: bytes, size: int | None = None, kind: bytes = b"RIFF", order: str = "<") -> bytes:
    body = b"".join(chunks)
    return kind + struct.pack(f"{order}I", len(body) + 4 if size is None else size) + b"WAVE" + body


def test_odd_chunks_are_padded_and_chunks_may_stand_anywhere(tmp_path: Path):
    got = header(tmp_path / "a", riff(chunk(b"odd ", b"xyz"), fmt(), chunk(b"LIST", b"x"), chunk(b"data", bytes(40))))
    assert got == Header("WAV", 10, 40, 40)
    late = header(tmp_path / "a", riff(chunk(b"data", bytes(40)), fmt(), chunk(b"LIST", b"x")))
    assert late == Header("WAV", 10, 40, 40)


def test_chunks_behind_the_audio_are_no_audio(tmp_path: Path):
    whole = riff(fmt(), chunk(b"data", bytes(40)), chunk(b"LIST", bytes(100)))
    assert header(tmp_path / "a", whole).data_bytes_there == 40
    assert not header(tmp_path / "a", whole[:-100]).cut_off
    assert header(tmp_path / "a", whole[:-109]).cut_off


def test_big_endian_wav(tmp_path: Path):
    whole = riff(fmt(order=">"), chunk(b"data", bytes(40), ">"), kind=b"RIFX", order=">")
    assert header(tmp_path / "a", whole) == Header("WAV", 10, 40, 40)


@pytest.mark.parametrize(
    ("size", "data"),
    [(0xFFFFFFFF, 0xFFFFFFFF), (0, 0), (36, 0), (0x7FFFF024, 0x7FFFF000), (0x7FFFF024, 0x7FFFEFFC),
     (0x7FFFFFFF, 0x7FFFFFFF), (0xFFFFFFFF, 0xFFFFFFFF - 36), (0xFFFFFFFF, 0)],
)  # fmt: skip
def test_a_streamed_wav_leaves_its_length_open(tmp_path: Path, size: int, data: int):
    got = header(tmp_path / "a", riff(fmt(), chunk(b"data", bytes(40), size=data), size=size))
    if (size, data) == (0xFFFFFFFF, 0):  # the outer size covers the bytes behind an empty data chunk
        assert got.data_bytes_stated == 0
        return
    assert (got.container, got.frames_stated, got.data_bytes_stated, got.data_bytes_there) == (
        "WAV",
        None,
        None,
        40,
    )
    assert "streamed" in got.note
    assert not got.cut_off


def test_a_large_file_that_was_cut_off_is_not_taken_for_a_streamed_one(tmp_path: Path):
    got = header(tmp_path / "a", riff(fmt(), chunk(b"data", bytes(40), size=3_000_000_000), size=3_000_000_036))
    assert (got.frames_stated, got.data_bytes_there, got.cut_off) == (750_000_000, 40, True)


def test_an_empty_wav_is_not_cut_off(tmp_path: Path):
    assert header(tmp_path / "a", riff(fmt(), chunk(b"data", b""))) == Header("WAV", 0, 0, 0)
    behind = riff(fmt(), chunk(b"data", b""), chunk(b"LIST", bytes(20)))
    assert header(tmp_path / "a", behind) == Header("WAV", 0, 0, 0)


def ds64(data: int, *table: tuple[bytes, int]) -> bytes:
    rows = b"".join(struct.pack("<4sQ", name, size) for name, size in table)
    return chunk(b"ds64", struct.pack("<QQQI", 0, data, 0, len(table)) + rows)


@pytest.mark.parametrize("kind", [b"RF64", b"BW64"])
def test_sizes_of_64_bits(tmp_path: Path, kind: bytes):
    audio = chunk(b"data", bytes(40), size=0xFFFFFFFF)
    whole = riff(ds64(40), fmt(), audio, kind=kind, size=0xFFFFFFFF)
    assert header(tmp_path / "a", whole) == Header("RF64", 10, 40, 40)
    large = header(tmp_path / "a", riff(ds64(6_000_000_000), fmt(), audio, kind=kind, size=0xFFFFFFFF))
    assert (large.frames_stated, large.data_bytes_there, large.cut_off) == (1_500_000_000, 40, True)
    table = riff(ds64(40, (b"odd ", 6)), chunk(b"odd ", b"xxxxxx", size=0xFFFFFFFF), fmt(), audio, kind=kind)
    assert header(tmp_path / "a", table).frames_stated == 10
    own = riff(ds64(0), fmt(), chunk(b"data", bytes(40)), kind=kind)
    assert header(tmp_path / "a", own).frames_stated == 10
    for unknown in (0, 2**64 - 1):
        got = header(tmp_path / "a", riff(ds64(unknown), fmt(), audio, kind=kind))
        assert (got.container, got.frames_stated, got.data_bytes_stated) == ("RF64", None, None)


def test_rf64_without_its_sizes(tmp_path: Path):
    got = header(tmp_path / "a", riff(fmt(), chunk(b"data", bytes(40), size=0xFFFFFFFF), kind=b"RF64"))
    assert (got.container, got.frames_stated) == ("RF64", None)
    assert "ds64" in got.note


def aiff(*chunks: bytes, form: bytes = b"AIFF") -> bytes:
    body = b"".join(chunks)
    return b"FORM" + struct.pack(">I", len(body) + 4) + form + body


def comm(frames: int, more: bytes = b"") -> bytes:
    return chunk(b"COMM", struct.pack(">HIH10s", 2, frames, 16, b"\x40\x0e\xbb\x80") + more, ">")


def ssnd(body: bytes, offset: int = 0, size: int | None = None) -> bytes:
    return chunk(b"SSND", struct.pack(">II", offset, 0) + bytes(offset) + body, ">", size)


def test_aiff_with_an_offset_and_chunks_in_either_order(tmp_path: Path):
    assert header(tmp_path / "a", aiff(comm(10), ssnd(bytes(40), offset=6))) == Header("AIFF", 10, 40, 40)
    assert header(tmp_path / "a", aiff(ssnd(bytes(40)), comm(10))) == Header("AIFF", 10, 40, 40)
    assert header(tmp_path / "a", aiff(comm(10), ssnd(bytes(40), offset=6))[:-4]).cut_off
    assert header(tmp_path / "a", aiff(comm(10, b"sowt\0\0"), ssnd(bytes(40)), form=b"AIFC")).container == "AIFC"
    assert "40 bytes" in header(tmp_path / "a", aiff(comm(11), ssnd(bytes(40)))).note


@pytest.mark.parametrize(("frames", "size"), [(0, 8), (0, 0), (0xFFFFFFFF, None), (10, 0xFFFFFFFF), (9, 0x7F000008)])
def test_a_streamed_aiff_leaves_its_length_open(tmp_path: Path, frames: int, size: int | None):
    got = header(tmp_path / "a", aiff(comm(frames), ssnd(bytes(40), size=size)))
    assert (got.container, got.frames_stated, got.data_bytes_there, got.cut_off) == ("AIFF", None, 40, False)


def test_an_empty_aiff(tmp_path: Path):
    assert header(tmp_path / "a", aiff(comm(0))) == Header("AIFF", 0, 0, 0)
    assert header(tmp_path / "a", aiff(comm(0), ssnd(b""))) == Header("AIFF", 0, 0, 0)


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (b"", "empty"), (b"RIFF", "ends inside its header"), (b"OggS" + bytes(60), "not a WAV"),
        (b"\0" * 100, "not a WAV"),
        (b"RIFF\0\0\0\0AVI " + bytes(50), "not a WAV"), (b"FORM\0\0\0\x048SVX", "not a WAV"),
    ],
)  # fmt: skip
def test_what_is_no_audio_file_has_no_container(tmp_path: Path, data: bytes, part: str):
    got = header(tmp_path / "a", data)
    assert got.container is None
    assert part in got.note


@pytest.mark.parametrize(
    "data",
    [
        riff(fmt(block=0, channels=0), chunk(b"data", bytes(40))),
        riff(fmt(block=7), chunk(b"data", bytes(40))),
        riff(chunk(b"fmt ", b"xx"), chunk(b"data", bytes(40))),
        riff(chunk(b"data", bytes(40))),
        riff(fmt(), chunk(b"data", bytes(41))),
        riff(fmt()),
        riff(chunk(b"junk", b"", size=0xFFFFFFF0)),
        riff(),
    ],
)
def test_a_damaged_wav_has_a_note(tmp_path: Path, data: bytes):
    got = header(tmp_path / "a", data)
    assert got.container == "WAV"
    assert got.note


def test_compressed_frames_come_from_the_fact_chunk(tmp_path: Path):
    fact = chunk(b"fact", struct.pack("<I", 505))
    assert header(tmp_path / "a", riff(fmt(tag=2), fact, chunk(b"data", bytes(40)))) == Header("WAV", 505, 40, 40)
    assert header(tmp_path / "a", riff(fmt(tag=2), chunk(b"data", bytes(40)))).frames_stated is None


def test_endless_chunks_end(tmp_path: Path):
    assert header(tmp_path / "a", riff(*[chunk(b"x   ", b"")] * 5000, fmt(), chunk(b"data", bytes(40)))).note


def test_files_that_cannot_be_read(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe")
    assert read_header(tmp_path / "pipe").note == "this is not a plain file"
    assert read_header(tmp_path).note == "this is not a plain file"
    assert read_header(tmp_path / "x").note == "there is no such file"
    assert "cannot be read" in read_header(tmp_path / ("x" * 300)).note


STARTS = [riff(fmt(), chunk(b"data", bytes(8))), riff(ds64(8), fmt(), kind=b"RF64"), aiff(comm(2),
ssnd(bytes(8))),
          b"fLaC\x80\0\0\x22" + bytes(40), b"ID3\4\0\0\0\0\0\0fLaC"]  # fmt: skip


@given(st.sampled_from(STARTS), st.randoms(use_true_random=False), st.integers(1, 6))
@settings(max_examples=300, deadline=None)
def test_no_damage_raises(tmp_path_factory: pytest.TempPathFactory, start: bytes, chance: random.Random, hits: int):
    data = bytearray(start)
    for _ in range(hits):
        data[chance.randrange(len(data))] = chance.choice((0, 1, 0x7F, 0x80, 0xFF, chance.randrange(256)))
    got = header(tmp_path_factory.getbasetemp() / "damaged", bytes(data))
    assert got.data_bytes_there is None or 0 <= got.data_bytes_there <= len(data)


def test_the_digest_of_a_file(tmp_path: Path):
    (tmp_path / "a").write_bytes(b"test")
    assert sha256_of(tmp_path / "a") == "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
