"""Where the samples of plain files lie; what is odd has no layout. Whether the samples are right, tests/audio tells."""

from __future__ import annotations

import struct

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from qc.audio.container.layout import PcmLayout, read_layout

RATE = 48_000


def chunk(name, body):
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def fmt(channels=2, bits=24, tag=1, block=None):
    block = channels * bits // 8 if block is None else block
    return chunk(b"fmt ", struct.pack("<HHIIHH", tag, channels, RATE, RATE * block, block, bits))


def riff(*chunks):
    body = b"".join(chunks)
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body


DATA = chunk(b"data", bytes(600))


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("kind", ["WAV", "WAVEX", "RF64"])
@pytest.mark.parametrize(
    ("coding", "octets"), [("PCM_16", 2), ("PCM_24", 3), ("PCM_32", 4), ("FLOAT", 4), ("DOUBLE", 8)]
)
def test_plain_files(tmp_path, kind, coding, octets, channels):
    soundfile.write(tmp_path / "a", np.zeros((50, channels)), RATE, format=kind, subtype=coding)
    got = read_layout(tmp_path / "a")
    start = (tmp_path / "a").read_bytes().index(b"data") + 8
    assert got == PcmLayout(coding, RATE, channels, start, 50)
    assert got.frame == channels * octets


ODD = {
    "empty": b"",
    "text": b"RIFF of the sea, in three parts",
    "three channels": riff(fmt(3), DATA),
    "no channel": riff(fmt(0), DATA),
    "8 bit": riff(fmt(bits=8), DATA),
    "20 bit": riff(fmt(bits=20, block=6), DATA),
    "A-law": riff(fmt(bits=8, tag=6), DATA),
    "16-bit float": riff(fmt(bits=16, tag=3), DATA),
    "no format": riff(DATA),
    "a format that ends early": riff(chunk(b"fmt ", b"\1\0\2\0"), DATA),
    "extensible that ends early": riff(fmt(tag=0xFFFE), DATA),
    "the format behind": riff(DATA, fmt()),
    "two formats": riff(fmt(1), fmt(2), DATA),
    "two chunks of data": riff(fmt(), DATA, DATA),
    "no data": riff(fmt()),
    "nothing in it": riff(fmt(), chunk(b"data", b"")),
    "no whole frames": riff(fmt(), chunk(b"data", bytes(601))),
    "cut off": riff(fmt(), DATA)[:-1],
    "other byte order": b"RIFX" + riff(fmt(), DATA)[4:],
    "RF64 without its sizes": b"RF64" + riff(fmt(), DATA)[4:],
}


@pytest.mark.parametrize("kind", ODD)
def test_what_is_odd_has_none(tmp_path, kind):
    (tmp_path / "a").write_bytes(ODD[kind])
    assert read_layout(tmp_path / "a") is None


@pytest.mark.parametrize("kind", ["AIFF", "FLAC", "W64"])
def test_other_containers_have_none(tmp_path, kind):
    soundfile.write(tmp_path / "a", np.zeros((50, 2)), RATE, format=kind, subtype="PCM_24")
    assert read_layout(tmp_path / "a") is None


def test_what_cannot_be_read_has_none(tmp_path):
    assert read_layout(tmp_path / "gone") is None
    assert read_layout(tmp_path) is None


@given(st.binary(max_size=80))
def test_nothing_makes_it_stumble(tmp_path_factory, octets):
    folder = tmp_path_factory.mktemp("any")
    for begin in (b"", b"RIFF\0\0\0\0WAVE", b"RF64\xff\xff\xff\xffWAVEds64", riff(fmt())):
        (folder / "a").write_bytes(begin + octets)
        read_layout(folder / "a")
