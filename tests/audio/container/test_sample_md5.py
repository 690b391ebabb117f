"""The MD5 that a FLAC file states of its samples, against those that are decoded in the pass.

The stated ones are those of libFLAC (by libsndfile, and by the `flac` program where it is installed).
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess

import numpy as np
import pytest
import soundfile

from qc.audio import source as source_module
from qc.audio.container.sample_md5 import SampleMd5
from qc.testing.deliveries import judge

RATE = 48_000
HEAD = "schema: 1\ntitle: Quiet Harbour\ndisc: {size: 12in, speed: 33}\nsides:\n  - id: A\n"
ONE = HEAD + "    audio: a.flac\n"
TWO = HEAD + "    tracks:\n" + "".join(f"      - {{number: {i}, title: No, audio: {i}.flac}}\n" for i in (1, 2))
MD5 = slice(26, 42)


def noise(seed, frames=3 * RATE, channels=2):
    return 0.1 * np.random.default_rng(seed).standard_normal((frames, channels)).clip(-3, 3)


def flac(path, seed=1, channels=2, subtype="PCM_24", frames=3 * RATE):
    soundfile.write(path, noise(seed, frames, channels), RATE, subtype=subtype)
    return path.read_bytes()


def frames_of(octets):
    """The bytes of a FLAC file's metadata, and those of its frames."""
    at, last = 4, False
    while not last:
        last, at = bool(octets[at] & 0x80), at + 4 + int.from_bytes(octets[at + 1 : at + 4], "big")
    return octets[:at], octets[at:]


@pytest.fixture(autouse=True)
def _small(monkeypatch):
    monkeypatch.setattr(source_module, "BLOCK", 20_000)
    monkeypatch.setattr(source_module, "SLICE", 20_000)


@pytest.fixture
def check(tmp_path):
    def run(text=ONE, **more):
        (tmp_path / "delivery.yaml").write_text(text)
        return judge(tmp_path, tmp_path / "r.json", **more)

    return run


def findings(got):
    return [(one["measured"], one["severity"]) for one in got.result("delivery.audio-disagrees")["findings"]]


@pytest.mark.parametrize("bits", [16, 24])
def test_the_digest_by_its_definition(bits):
    """RFC 9639: samples as signed little-endian integers of so many bits, channels interleaved."""
    values = np.random.default_rng(3).integers(-(2 ** (bits - 1)), 2 ** (bits - 1), (150_000, 2), endpoint=False)
    plain = b"".join(int(one).to_bytes(bits // 8, "little", signed=True) for one in values.reshape(-1))
    taken = SampleMd5(bits)
    for part in np.split((values << (32 - bits)).astype(np.int32), [1, 70_000]):
        taken.ask(part)
    for _ in range(3):
        taken.step()
    assert taken.hexadecimal() == hashlib.md5(plain, usedforsecurity=False).hexdigest()


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
def test_a_file_as_it_was_encoded_agrees(tmp_path, check, subtype, channels):
    flac(tmp_path / "a.flac", channels=channels, subtype=subtype)
    got = check()
    assert (findings(got), got.side()["audio"]["own_md5"]) == ([], "agrees")


@pytest.mark.skipif(shutil.which("flac") is None, reason="the flac program is not installed")
def test_a_file_of_the_flac_program_agrees(tmp_path, check):
    soundfile.write(tmp_path / "a.wav", noise(4), RATE, subtype="PCM_24")
    subprocess.run(["flac", "-s", "-8", str(tmp_path / "a.wav")], check=True, cwd=tmp_path)
    assert check().side()["audio"]["own_md5"] == "agrees"


def test_another_song_under_this_header(tmp_path, check):
    ours, theirs = flac(tmp_path / "a.flac", 1), flac(tmp_path / "b.flac", 2)
    (tmp_path / "a.flac").write_bytes(frames_of(ours)[0] + frames_of(theirs)[1])
    for _ in range(2):  # what is stored says the same
        got = check()
        assert (got.code, findings(got), got.side()["passes"]) == (1, [("sample md5", "fail")], 0)
        assert got.side()["audio"]["own_md5"] == "disagrees"


@pytest.mark.parametrize("md5", ["stated", "not stated"])
@pytest.mark.parametrize("behind", ["its own frames once more", "a second stream"])
def test_audio_behind_the_frames_that_the_header_states(tmp_path, check, behind, md5):
    ours, theirs = flac(tmp_path / "a.flac", 1), flac(tmp_path / "b.flac", 2)
    if md5 == "not stated":
        ours = ours[: MD5.start] + bytes(16) + ours[MD5.stop :]
    (tmp_path / "a.flac").write_bytes(ours + (theirs if behind == "a second stream" else frames_of(ours)[1]))
    got = check()
    assert (got.code, findings(got)) == (1, [("longer than its header", "fail")])


def test_fewer_frames_stated_than_there_are(tmp_path, check):
    octets = bytearray(flac(tmp_path / "a.flac"))
    octets[18:26] = (int.from_bytes(octets[18:26], "big") - RATE).to_bytes(8, "big")
    octets[MD5] = bytes(16)
    (tmp_path / "a.flac").write_bytes(octets)
    assert findings(check()) == [("longer than its header", "fail")]


def test_a_file_that_states_none_says_so(tmp_path, check):
    octets = bytearray(flac(tmp_path / "a.flac"))
    octets[MD5] = bytes(16)
    (tmp_path / "a.flac").write_bytes(octets)
    got = check()
    result = got.result("delivery.audio-disagrees")
    assert (result["outcome"], got.side()["audio"]["own_md5"]) == ("pass", "not stated")
    assert result["reason"].startswith("a.flac states no MD5 of its samples")


def test_each_file_of_a_joined_side_has_its_own(tmp_path, check):
    first, second = flac(tmp_path / "1.flac", 1), flac(tmp_path / "2.flac", 2)
    files = check(TWO).side()["audio"]["files"]
    assert [one["own_md5"] for one in files] == ["agrees", "agrees"]
    (tmp_path / "2.flac").write_bytes(second[: MD5.start] + first[MD5] + second[MD5.stop :])
    got = check(TWO)
    (finding,) = got.result("delivery.audio-disagrees")["findings"]
    assert (got.code, finding["measured"], finding["location"]["track"]) == (1, "sample md5", 2)
    assert [one["own_md5"] for one in got.side()["audio"]["files"]] == ["agrees", "disagrees"]


def test_a_plain_file_has_none(tmp_path, check):
    soundfile.write(tmp_path / "a.wav", noise(1), RATE, subtype="PCM_24")
    assert check(ONE.replace("a.flac", "a.wav")).side()["audio"]["own_md5"] is None
