"""Headers that contradict themselves, the bytes, or what is decoded; each with what is beside it and is no fault."""

from __future__ import annotations

import struct

import numpy as np
import pytest
import soundfile

from qc.intake.inspection import Declared, inspect
from qc.testing.deliveries import judge

RATE, FRAMES = 48_000, 4_800
AUDIO = np.random.default_rng(5).integers(-9_000, 9_000, (FRAMES, 2), dtype="<i2").tobytes()
SECOND = RATE * 4


def chunk(name, body, order="<", size=None):
    return name + struct.pack(f"{order}I", len(body) if size is None else size) + body + bytes(len(body) % 2)


def fmt(*, tag=1, channels=2, bits=16, block=4, byte_rate=RATE * 4, extra=b""):
    return chunk(b"fmt ", struct.pack("<HHIIHH", tag, channels, RATE, byte_rate, block, bits) + extra)


def riff(*chunks, size=None, kind=b"RIFF", behind=b""):
    body = b"".join(chunks)
    return kind + struct.pack("<I", len(body) + 4 if size is None else size) + b"WAVE" + body + behind


def extensible(valid=16, short=False):
    guid = struct.pack("<H", 1) + bytes.fromhex("000000001000800000aa00389b71")
    extra = struct.pack("<HHI", 8 if short else 22, valid, 3) + guid
    return fmt(tag=0xFFFE, extra=extra)


def rf64(data, frames=FRAMES, stated=0xFFFFFFFF):
    sizes = chunk(b"ds64", struct.pack("<QQQI", len(AUDIO) + 80, data, frames, 0))
    return riff(sizes, fmt(), chunk(b"data", AUDIO, size=stated), kind=b"RF64", size=0xFFFFFFFF)


def aiff(*, frames=FRAMES, channels=2, bits=16, offset=0, lie=0, size=None, behind=b"", extra=b""):
    body = np.frombuffer(AUDIO, "<i2").astype(">i2").tobytes()
    common = chunk(b"COMM", struct.pack(">HIH", channels, frames, bits) + bytes.fromhex("400ebb80000000000000"), ">")
    sound = struct.pack(">II", offset + lie, 0) + bytes(offset) + body
    form = b"AIFF" + common + chunk(b"SSND", sound, ">", None if size is None else size + 8) + extra
    return b"FORM" + struct.pack(">I", len(form)) + form + behind


def data(size=None):
    return chunk(b"data", AUDIO, size=size)


NO_FAULT = {
    "a plain file": riff(fmt(), data()),
    "chunks behind": riff(fmt(), data(), chunk(b"LIST", b"INFOabc"), chunk(b"bext", bytes(602)), chunk(b"id3 ", b"x")),
    "an unknown chunk": riff(fmt(), data(), chunk(b"acme", bytes(9))),
    "chunks that the form does not count": riff(fmt(), data(), behind=chunk(b"LIST", b"INFO")),
    "one byte behind": riff(fmt(), data(), behind=b"\0"),
    "an odd number of bytes before it, unpadded": riff(fmt(), chunk(b"odd ", b"xyz"), data()),
    "extensible": riff(extensible(), data()),
    "extensible, 12 of 16 bits": riff(extensible(valid=12), data()),
    "a fact chunk": riff(fmt(), chunk(b"fact", struct.pack("<I", FRAMES)), data()),
    "a fact chunk that counts each channel": riff(fmt(), chunk(b"fact", struct.pack("<I", 2 * FRAMES)), data()),
    "RF64": rf64(len(AUDIO)),
    "RF64 without a count of frames": rf64(len(AUDIO), 0),
    "RF64 with its size in place": rf64(len(AUDIO), stated=len(AUDIO)),
    "AIFF": aiff(),
    "AIFF with an offset": aiff(offset=6),
    "AIFF with text behind": aiff(extra=chunk(b"ANNO", b"abc", ">")),
}
FAILS = {
    "data size too small": (riff(fmt(), data(len(AUDIO) // 2)), "its header counts as its own: as sound"),
    "both sizes too small": (
        riff(fmt(), chunk(b"data", 12 * AUDIO, size=len(AUDIO)), size=len(AUDIO) + 36), "that are no chunk: as sound",
    ),
    "a second data chunk": (riff(fmt(), data(), data()), ""),
    "a second file behind": (riff(fmt(), data(), behind=riff(fmt(), data())), ""),
    "a FLAC stream behind": (riff(fmt(), data(), behind=b"fLaC" + bytes(400)), "a second fLaC behind its audio"),
    "one byte too few": (riff(fmt(), data(len(AUDIO) - 1)), "does not end on a whole frame"),
    "block too large": (riff(fmt(block=6), data()), "frames of 6 bytes, but 2 channels of 16 bits"),
    "one channel of two": (riff(fmt(channels=1), data()), "frames of 4 bytes, but 1 channels of 16 bits"),
    "24 bits in four bytes": (riff(fmt(bits=24, block=8, byte_rate=RATE * 8), data()), "frames of 8 bytes"),
    "more valid bits than bits": (riff(extensible(valid=24), data()), "24 valid bits in samples of 16 bits"),
    "a short extension": (riff(extensible(short=True), data()), "too short for what it states"),
    "RF64 size too small": (rf64(len(AUDIO) // 2), "counts as its own"),
    "RF64 with two sizes": (rf64(len(AUDIO), stated=len(AUDIO) // 2), "in its ds64 chunk and"),
    "AIFF frames too few": (aiff(frames=FRAMES // 2), "states 2400 frames of 4 bytes, but"),
    "AIFF bytes too few": (aiff(frames=FRAMES // 2, size=len(AUDIO) // 2), "counts as its own"),
    "AIFF offset": (aiff(lie=8), "bytes of audio"),
    "AIFF channels": (aiff(channels=1), "bytes of audio"),
    "AIFF bits": (aiff(bits=24), "bytes of audio"),
    "AIFF form behind": (aiff(behind=aiff()), ""),
}  # fmt: skip
WARNS = {
    "byte rate": (riff(fmt(byte_rate=RATE), data()), "states 48,000 bytes a second, where 48,000 Hz and frames of 4"),
    "junk": (riff(fmt(), data(), behind=b"\x01\x02junk" * 300), "1,800 bytes behind its audio that are no chunk"),
    "an ID3 tag of the old kind": (riff(fmt(), data(), behind=b"TAG" + b"\x80" * 125), "128 bytes behind its audio"),
    "padding": (riff(fmt(), data(), behind=bytes(2 * SECOND)), "that are no chunk, all zero"),
    "a cut-off chunk": (riff(fmt(), data(), chunk(b"LIST", b"INFO", size=900)), "ends inside its chunk LIST"),
    "fact": (riff(fmt(), chunk(b"fact", struct.pack("<I", 99)), data()), "99 frames in its fact chunk and 4,800 by"),
    "ds64": (rf64(len(AUDIO), 99), "99 frames in its ds64 chunk and 4,800 by"),
    "AIFF junk": (aiff(behind=b"\x01\x02junk" * 300), "1,800 bytes behind its audio"),
}  # fmt: skip


def faults(tmp_path, octets):
    (tmp_path / "a").write_bytes(octets)
    return inspect(Declared(tmp_path / "a", "a")).received.faults


@pytest.mark.parametrize("name", NO_FAULT)
def test_headers_that_are_right(tmp_path, name):
    assert faults(tmp_path, NO_FAULT[name]) == ()


@pytest.mark.parametrize("name", FAILS)
def test_headers_by_which_frames_could_be_lost(tmp_path, name):
    octets, says = FAILS[name]
    found = faults(tmp_path, octets)
    assert any(fault.fatal and says in fault.message for fault in found), found


@pytest.mark.parametrize("name", WARNS)
def test_headers_that_are_merely_wrong(tmp_path, name):
    octets, says = WARNS[name]
    (fault,) = faults(tmp_path, octets)
    assert not fault.fatal
    assert says in fault.message


def test_floats_that_are_stated_as_integers(tmp_path):
    """Small negative integers are huge floats, or none; so that integers are never taken for floats."""
    x = np.random.default_rng(1).uniform(-0.5, 0.5, (FRAMES, 2))
    for subtype in ("FLOAT", "PCM_32"):
        soundfile.write(tmp_path / "a.wav", x, RATE, format="WAV", subtype=subtype)
        octets = bytearray((tmp_path / "a.wav").read_bytes())
        octets[20] = 1
        found = faults(tmp_path, bytes(octets))
        assert ["32-bit floats" in one.message for one in found] == ([True] if subtype == "FLOAT" else [])


def test_integers_with_a_small_offset_are_no_floats(tmp_path):
    """In a pause every integer is the same small positive number, which as a float is next to nothing."""
    x = np.full((8 * FRAMES, 2), 0.0005)
    x[: 3 * FRAMES // 2] += np.random.default_rng(1).uniform(-0.2, 0.2, (3 * FRAMES // 2, 2))
    soundfile.write(tmp_path / "a.wav", x, RATE, format="WAV", subtype="PCM_32")
    assert not faults(tmp_path, (tmp_path / "a.wav").read_bytes())


@pytest.mark.parametrize("count", [6, 400, 300_000])
def test_padding_inside_the_form_loses_nothing(tmp_path, count):
    (fault,) = faults(tmp_path, riff(fmt(), data(), bytes(count)))
    assert not fault.fatal
    assert "all zero" in fault.message


@pytest.mark.parametrize("at", [0, 100_000, 299_999])
def test_one_octet_that_is_none_makes_it_no_padding(tmp_path, at):
    behind = bytearray(300_000)
    behind[at] = 1
    (fault,) = faults(tmp_path, riff(fmt(), data(), bytes(behind)))
    assert fault.fatal


@pytest.mark.parametrize("field", ["rate", "channels", "bits", "frames"])
def test_flac_that_contradicts_its_frames(tmp_path, field):
    soundfile.write(tmp_path / "a.flac", np.zeros((FRAMES, 2)), RATE, subtype="PCM_24")
    octets = bytearray((tmp_path / "a.flac").read_bytes())
    packed = int.from_bytes(octets[18:26], "big")
    packed ^= {"rate": (48_000 ^ 44_100) << 44, "channels": 1 << 41, "bits": (23 ^ 15) << 36, "frames": 0}[field]
    octets[18:26] = packed.to_bytes(8, "big")
    found = faults(tmp_path, bytes(octets))
    assert [fault.fatal for fault in found] == ([] if field == "frames" else [True])


def test_a_warning_lets_the_side_be_judged(tmp_path):
    audio = (0.1 * np.random.default_rng(2).standard_normal((3 * RATE, 2))).astype("<f4")
    soundfile.write(tmp_path / "side-a.wav", audio, RATE, subtype="PCM_16")
    with (tmp_path / "side-a.wav").open("ab") as file:
        file.write(b"\x01trailing")
    (tmp_path / "delivery.yaml").write_text(
        "schema: 1\ntitle: Quiet Harbour\ndisc: {size: 12in, speed: 33}\nsides:\n  - id: A\n    audio: side-a.wav\n"
    )
    got = judge(tmp_path, tmp_path / "r.json")
    (finding,) = got.result("delivery.audio-disagrees")["findings"]
    assert (finding["severity"], finding["measured"]) == ("warn", "bytes behind the audio")
    assert got.side()["passes"] == 1
