"""Files as slices: the digits of libsndfile, whoever decodes; memory that is used again once nobody holds it."""

from __future__ import annotations

import contextlib
import hashlib
import os
import struct
import sys
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.audio import decode as decoding
from qc.audio import source as source_module
from qc.audio.container.file_hash import FileHash
from qc.audio.source import AudioFaultError, FileSource

RATE = 48_000
SUBTYPES = ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")
PLAIN = [(kind, subtype) for kind in ("WAV", "WAVEX", "RF64") for subtype in SUBTYPES]
OTHER = [("AIFF", "PCM_16"), ("AIFF", "PCM_24"), ("AIFF", "FLOAT"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"),
         ("W64", "PCM_24"), ("WAV", "PCM_U8")]  # fmt: skip


@pytest.fixture
def small(monkeypatch):
    """Blocks of 700 frames in slices of 300, so that a short file has many and the last ones are odd."""
    monkeypatch.setattr(source_module, "BLOCK", 700)
    monkeypatch.setattr(source_module, "SLICE", 300)


def noise(frames, channels, seed=1):
    x = np.random.default_rng(seed).uniform(-1.0, 1.0, (frames, channels))
    x[: len(x) // 7] = [-1.0]
    return x


def decoded(path, frames=None, rate=RATE, hashed=None):
    """All slices of a file."""
    source = FileSource(path, "side:A", rate, frames or soundfile.info(path).frames, hashed=hashed)
    source.open()
    try:
        slices = []
        for _ in range(source.blocks):
            slices += source.read()
            source.hash()
    finally:
        source.close()
    assert all(one.flags.c_contiguous and one.dtype == np.float64 and not one.flags.writeable for one in slices)
    return np.concatenate(slices, axis=1)


def assert_digits_of_the_library(path):
    """Compare bit for bit, so that -0.0 and 0.0 differ."""
    expected = soundfile.read(path, always_2d=True)[0].T
    expected = np.ascontiguousarray(np.broadcast_to(expected, (2, expected.shape[1])))
    np.testing.assert_array_equal(decoded(path).view(np.int64), expected.view(np.int64))


def is_plain(path):
    info = soundfile.info(path)
    opened = decoding.decoder(path, info.samplerate, info.frames, 10, 1)
    opened.close()
    return isinstance(opened, decoding._PcmReader)


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize(("kind", "subtype"), PLAIN + OTHER)
@pytest.mark.parametrize("frames", [1, 299, 700, 2_113])
def test_the_digits_are_those_of_the_library(tmp_path, kind, subtype, channels, frames):
    path = tmp_path / "a"
    soundfile.write(path, noise(frames, channels), RATE, format=kind, subtype=subtype)
    assert is_plain(path) == ((kind, subtype) in PLAIN)
    assert_digits_of_the_library(path)


@settings(max_examples=30, deadline=None)
@given(frames=st.integers(1, 2_000), block=st.integers(1, 700), size=st.integers(1, 400), which=st.integers(0, 9))
def test_any_block_gives_the_same_digits(tmp_path_factory, frames, block, size, which):
    path = tmp_path_factory.mktemp("any") / "a.wav"
    subtype = SUBTYPES[which % 5]
    soundfile.write(path, noise(frames, 1 + which // 5), RATE, subtype=subtype)
    before = source_module.BLOCK, source_module.SLICE
    source_module.BLOCK, source_module.SLICE = max(block, size), size
    try:
        assert_digits_of_the_library(path)
    finally:
        source_module.BLOCK, source_module.SLICE = before


@pytest.mark.parametrize("rate", [176_400, 192_000])
def test_at_twice_the_rate_a_block_lasts_as_long(tmp_path, rate):
    half = source_module.Slices(rate // 2)
    assert source_module.Slices(rate).block / rate == half.block / (rate // 2)
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(2 * half.block + 1, 2), rate, subtype="PCM_24")
    source = FileSource(path, "a.wav", rate, 2 * half.block + 1)
    source.open()
    assert source.blocks == 2
    blocks = [np.concatenate(source.read(), axis=1) for _ in range(2)]
    source.close()
    np.testing.assert_array_equal(np.concatenate(blocks, axis=1).T, soundfile.read(path)[0])


USUAL = bytes.fromhex("000000001000800000aa00389b71")
AMBISONIC = bytes.fromhex("00002107d3118644c8c1ca000000")


def chunk(name, body, size=None):
    return name + struct.pack("<I", len(body) if size is None else size) + body + b"\0" * (len(body) % 2)


def fmt(channels=2, bits=24, tag=1, block=None, more=b""):
    block = channels * bits // 8 if block is None else block
    return chunk(b"fmt ", struct.pack("<HHIIHH", tag, channels, RATE, RATE * block, block, bits) + more)


def extensible(channels, bits, valid, tag=1, guid=USUAL):
    return fmt(channels, bits, 0xFFFE, more=struct.pack("<HHIH", 22, valid, 0, tag) + guid)


def riff(*chunks):
    body = b"".join(chunks)
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body


OCTETS = np.random.default_rng(5).integers(0, 256, 6 * 1_111, dtype=np.uint8).tobytes()
LAID_OUT = {
    "data not on four bytes": (riff(chunk(b"LIST", b"ab"), fmt(), chunk(b"data", OCTETS)), True),
    "a chunk of odd length before": (riff(chunk(b"junk", b"abc"), fmt(), chunk(b"data", OCTETS)), True),
    "padded, with a chunk behind": (riff(fmt(1), chunk(b"data", OCTETS[:999]), chunk(b"LIST", b"x" * 5_001)), True),
    "bytes behind the end": (riff(fmt(), chunk(b"data", OCTETS)) + b"\1" * 77, True),
    "24 bit in a format with more": (riff(fmt(more=b"\0\0"), chunk(b"data", OCTETS)), True),
    "extensible": (riff(extensible(2, 24, 24), chunk(b"data", OCTETS)), True),
    "20 of 24 bits": (riff(extensible(2, 24, 20), chunk(b"data", OCTETS)), True),
    "24 of 32 bits": (riff(extensible(1, 32, 24), chunk(b"data", OCTETS[:4_000])), True),
    "24 bits in four bytes": (riff(fmt(2, 24, block=8), chunk(b"data", OCTETS[:4_000])), False),
    "no whole number of frames": (riff(fmt(), chunk(b"data", OCTETS[:-2])), False),
    "an odd last byte": (riff(fmt(), chunk(b"data", OCTETS[:-1])), False),
    "another identifier": (riff(extensible(2, 24, 24, 1, AMBISONIC), chunk(b"data", OCTETS)), False),
}


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("kind", LAID_OUT)
def test_files_by_hand(tmp_path, kind):
    octets, plain = LAID_OUT[kind]
    path = tmp_path / "a.wav"
    path.write_bytes(octets)
    assert is_plain(path) == plain
    assert_digits_of_the_library(path)


def test_a_plain_file_that_the_library_sees_otherwise_is_left_to_it(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(500, 2), RATE, subtype="PCM_24")
    assert decoded(path, frames=400).shape == (2, 400)
    assert isinstance(decoding.decoder(path, 44_100, 500, 10, 1), decoding._Library)


# -- FLAC ----------------------------------------------------------------------------------------------------------


def flac(folder, channels=2, subtype="PCM_24", frames=30_000):
    path = folder / "a.flac"
    soundfile.write(path, noise(frames, channels), RATE, subtype=subtype)
    return path


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("channels", [1, 2])
def test_usual_flac_is_left_to_the_faster_decoder(tmp_path, subtype, channels):
    path = flac(tmp_path, channels, subtype)
    with contextlib.closing(decoding.decoder(path, RATE, 30_000, 7_000, 1)) as opened:
        assert isinstance(opened, decoding._Flac)
    assert_digits_of_the_library(path)


def test_what_the_faster_decoder_does_not_open_is_left_to_the_library(tmp_path, monkeypatch):
    import miniaudio

    path = flac(tmp_path)
    refusing = dict.fromkeys(decoding.DR_FLAC, lambda *_: miniaudio.ffi.NULL)
    monkeypatch.setattr(miniaudio, "lib", SimpleNamespace(**refusing))
    assert isinstance(decoding.decoder(path, RATE, 30_000, 7_000, 1), decoding._Library)
    soundfile.write(path, noise(500, 2), RATE, subtype="PCM_S8", format="FLAC")
    assert isinstance(decoding.decoder(path, RATE, 500, 500, 1), decoding._Library)


@pytest.mark.parametrize("lacking", ["the package", "one of its functions"])
def test_without_the_optional_decoder_the_library_gives_the_same_digits(tmp_path, monkeypatch, lacking):
    path = flac(tmp_path)
    faster = decoded(path)
    if lacking == "the package":
        monkeypatch.setitem(sys.modules, "miniaudio", None)
    else:
        import miniaudio

        monkeypatch.setattr(miniaudio, "lib", SimpleNamespace(ma_dr_flac_open_file=None))
    with contextlib.closing(decoding.decoder(path, RATE, 30_000, 7_000, 1)) as opened:
        assert isinstance(opened, decoding._Library)
    np.testing.assert_array_equal(decoded(path), faster)
    assert_digits_of_the_library(path)


def test_flac_from_a_frame_on(tmp_path):
    path = flac(tmp_path)
    expected = soundfile.read(path)[0].T
    left, right = np.empty(5_000), np.empty(5_000)
    with contextlib.closing(decoding.decoder(path, RATE, 30_000, 5_000, 1)) as opened:
        for frame in (0, 12_345, 3, 25_000):
            opened.seek(frame)
            assert opened.load(5_000) == 5_000
            opened.put(0, left, right)
            np.testing.assert_array_equal([left, right], expected[:, frame : frame + 5_000])


@pytest.mark.parametrize("damage", ["a bit", "a hole", "bytes missing", "the end"])
def test_where_flac_is_damaged_is_where_the_library_finds_it(tmp_path, monkeypatch, damage):
    """The faster decoder goes on behind a damaged frame, and would give what lies behind it too early."""
    monkeypatch.setattr(source_module, "BLOCK", 9_000)
    monkeypatch.setattr(source_module, "SLICE", 9_000)
    path = flac(tmp_path)
    octets = bytearray(path.read_bytes())
    middle = len(octets) // 2
    if damage == "a bit":
        octets[middle] ^= 0x10
    elif damage == "a hole":
        octets[middle : middle + 3_000] = bytes(3_000)
    elif damage == "bytes missing":
        del octets[middle : middle + 3_000]
    else:
        del octets[middle:]
    path.write_bytes(octets)
    said = []
    for first in (decoding._Flac.of, lambda library: library):
        monkeypatch.setattr(decoding._Flac, "of", first)
        with pytest.raises(AudioFaultError) as caught:
            decoded(path, frames=30_000)
        said.append(caught.value.fault)
    assert said[0] == said[1]
    assert said[0].kind == ("cut off" if damage == "the end" else "damaged")
    assert said[0].at.start_s == pytest.approx(15_000 / RATE, abs=4_096 / RATE)  # within a frame of FLAC


# -- faults --------------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
@pytest.mark.parametrize(
    ("value", "kind", "says"),
    [
        (np.nan, "not finite", "a.wav holds a sample that is not a number at 0:00.031"),
        (-np.inf, "not finite", "a.wav holds a sample that is infinite at 0:00.031"),
        (-1e4, "absurd level", "a.wav holds a sample of +80 dBFS at 0:00.031, above +40 dBFS"),
    ],
)
@pytest.mark.parametrize("channels", [1, 2])
def test_a_sample_that_can_be_no_programme(tmp_path, subtype, value, kind, says, channels):
    x = noise(2_000, channels)
    x[1_500, -1] = value
    soundfile.write(tmp_path / "a.wav", x, RATE, subtype=subtype)
    with pytest.raises(AudioFaultError) as caught:
        decoded(tmp_path / "a.wav")
    fault = caught.value.fault
    assert (fault.kind, fault.message, fault.at.start_s) == (kind, says, 1_500 / RATE)


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("kind", ["WAV", "AIFF"])
def test_a_file_that_shrinks_while_it_is_heard(tmp_path, kind):
    path = tmp_path / "a"
    soundfile.write(path, noise(48_000, 2), RATE, format=kind, subtype="PCM_24")
    source = FileSource(path, "side:A", RATE, 48_000)
    source.open()
    source.read()
    os.truncate(path, path.stat().st_size - 6 * 24_000 + 4)
    with pytest.raises(AudioFaultError) as caught:
        [source.read() for _ in range(source.blocks)]
    source.close()
    fault = caught.value.fault
    assert (fault.kind, fault.message) == ("cut off", "a ends at 0:00.500, its header says 0:01.000")
    assert fault.at.start_s == 0.5


@pytest.mark.parametrize("kind", ["WAV", "FLAC"])
def test_a_file_that_went_away(tmp_path, kind):
    source = FileSource(tmp_path / "a", "side:A", RATE, 48_000)
    with pytest.raises(AudioFaultError) as caught:
        source.open()
    source.close()
    assert (caught.value.fault.kind, caught.value.fault.at.start_s) == ("not audio", 0.0)
    assert caught.value.fault.message == "a cannot be decoded from 0:00.000 on: System error"


class Failing:
    def readinto(self, into):
        raise OSError(5, "Input/output error")


def test_a_disk_that_fails(tmp_path):
    soundfile.write(tmp_path / "a.wav", noise(5_000, 2), RATE, subtype="PCM_24")
    source = FileSource(tmp_path / "a.wav", "side:A", RATE, 5_000)
    source.open()
    source._decoder._file.close()
    source._decoder._file = Failing()
    with pytest.raises(AudioFaultError) as caught:
        source.read()
    assert caught.value.fault.message == "a.wav cannot be decoded from 0:00.000 on: Input/output error"


# -- memory --------------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("kind", ["WAV", "FLAC"])
def test_what_somebody_keeps_is_never_changed(tmp_path, kind):
    path = tmp_path / "a"
    soundfile.write(path, noise(30_000, 2), RATE, format=kind, subtype="PCM_24")
    whole = soundfile.read(path)[0].T
    source = FileSource(path, "side:A", RATE, 30_000)
    source.open()
    kept, at = [], 0
    for _ in range(source.blocks):
        for k, samples in enumerate(source.read()):
            if k % 2 == 0:  # a slice, a part of one, a row, or no more than a window on its memory
                keep = (lambda x: x, lambda x: x[:, 5:9], lambda x: x[1], memoryview)[len(kept) % 4](samples)
                kept.append((keep, at, at + samples.shape[1]))
            at += samples.shape[1]
    assert len(kept) > 60
    for keep, start, end in kept:
        expected = whole[:, start:end]
        got = np.asarray(keep)
        if got.ndim == 1:
            expected = expected[1]
        elif got.shape[1] == 4:
            expected = expected[:, 5:9]
        np.testing.assert_array_equal(got, expected)
    source.close()


@pytest.mark.usefixtures("small")
def test_memory_is_used_again(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(30_000, 2), RATE, subtype="PCM_24")
    source = FileSource(path, "side:A", RATE, 30_000)
    source.open()
    places = set()
    for _ in range(source.blocks):
        block = source.read()
        places |= {
            one.__array_interface__["data"][0] for one in block if one.shape[1] == 300
        }  # `ctypes` would make a ring
        del block
    assert len(places) <= 3
    source.close()


# -- digests -------------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("kind", ["WAV", "RF64", "AIFF", "FLAC"])
@pytest.mark.parametrize("frames", [1, 1_400, 2_113])
def test_the_digests_of_a_file_that_is_heard(tmp_path, kind, frames):
    path = tmp_path / "a"
    soundfile.write(path, noise(frames, 1), RATE, format=kind, subtype="PCM_24")
    with path.open("ab") as file:
        file.write(b"behind" * 1_000)
    taken = FileHash(path, md5=True)
    decoded(path, frames, hashed=taken)
    octets = path.read_bytes()
    assert taken.digests == {
        "sha256": hashlib.sha256(octets).hexdigest(), "md5": hashlib.md5(octets, usedforsecurity=False).hexdigest(),
    }  # fmt: skip


@pytest.mark.usefixtures("small")
def test_digests_may_come_later_than_the_samples(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(5_000, 2), RATE, subtype="PCM_24")
    taken = FileHash(path)
    source = FileSource(path, "side:A", RATE, 5_000, hashed=taken)
    source.open()
    for _ in range(source.blocks):
        source.read()
    assert taken.digests is None
    for _ in range(source.blocks):
        assert source.to_hash
        source.hash()
    source.close()
    assert taken.digests["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_file_that_cannot_be_opened_again_has_no_digests(tmp_path):
    taken = FileHash(tmp_path / "gone")
    taken.open()
    taken.ask(1.0, None)
    taken.step()
    taken.close()
    assert taken.digests is None
