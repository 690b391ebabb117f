"""Digests that are worked out while a side is heard: the same report as when they come first."""

from __future__ import annotations

import hashlib
import os
from functools import cache

import numpy as np
import pytest
import soundfile

from qc.audio.container import file_hash as hashing
from qc.measure import side as measuring
from qc.testing.deliveries import judge
from qc.testing.music import Song, song

RATE = 48_000
WRONG = "0" * 64
HEAD = "schema: 1\ntitle: Quiet Harbour\ndisc: {size: 12in, speed: 33}\nsides:\n  - id: A\n"
ONE = HEAD + "    audio: side-a.wav\n    tracks:\n      - {number: 1, title: One, start: 0:00, end: 0:02}\n"
TWO = HEAD + "    tracks:\n" + "".join(f"      - {{number: {i}, title: No, audio: {i}.wav}}\n" for i in (1, 2))


def music(seed=3):
    return sung(seed).copy()


@cache
def sung(seed):
    return 0.5 * song(Song(2.0, RATE, seed=seed, tempo=120.0, cymbals=1.2, bass_width=0.2)).T


def broken(x):
    x[60_000, 0] = np.nan
    return x


@pytest.fixture
def folder(tmp_path):
    soundfile.write(tmp_path / "side-a.wav", music(), RATE, subtype="FLOAT")
    for i in (1, 2):
        soundfile.write(tmp_path / f"{i}.wav", music(i), RATE, subtype="PCM_24")
    (tmp_path / "delivery.yaml").write_text(ONE)
    return tmp_path


def found(got):
    return [(one["measured"], one["location"]["start_s"]) for one in got.result("delivery.audio-disagrees")["findings"]]


def sums(folder, *names, wrong=()):
    (folder / "SHA256SUMS").write_text(
        "".join(f"{WRONG if n in wrong else digest(folder / n)}  {n}\n" for n in names)
    )  # fmt: skip


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def never_in_hearing(monkeypatch):
    """As a file that cannot be opened a second time."""
    monkeypatch.setattr(hashing.FileHash, "open", lambda self: setattr(self, "_failed", True))


@pytest.mark.parametrize("way", ["in hearing", "plainly"])
def test_the_digest_is_in_the_report(folder, way, monkeypatch):
    if way == "plainly":
        never_in_hearing(monkeypatch)
    sums(folder, "side-a.wav")
    (folder / "side-a.wav.md5").write_text(hashlib.md5((folder / "side-a.wav").read_bytes()).hexdigest())
    audio = judge(folder, folder / "r.json").side()["audio"]
    assert audio["sha256"] == digest(folder / "side-a.wav")
    assert audio["checked"] == ["md5 of side-a.wav.md5", "sha256 of SHA256SUMS"]


def test_a_file_that_is_heard_is_not_read_for_its_digest_alone(folder, monkeypatch):
    monkeypatch.setattr("qc.intake.inspection.digests_of", None)
    assert judge(folder, folder / "r.json").side()["audio"]["sha256"] == digest(folder / "side-a.wav")


@pytest.mark.parametrize("audio", [music, lambda: broken(music()), lambda: 0.0 * music(), lambda: music()[:, [0] * 5]])
def test_another_file_than_was_sent_is_not_judged(folder, audio):
    """Whatever is in it; only what shows without hearing it is told too."""
    soundfile.write(folder / "side-a.wav", audio(), RATE, subtype="FLOAT")
    sums(folder, "side-a.wav", wrong=["side-a.wav"])
    got = judge(folder, folder / "r.json")
    more = [("channels", None)] if audio().shape[1] == 5 else []
    assert (got.code, found(got)) == (1, [("checksum", None), *more])
    assert got.side()["passes"] == 0
    assert got.side()["audio"]["sha256"] == digest(folder / "side-a.wav")


def test_the_file_that_was_sent_may_be_broken(folder):
    soundfile.write(folder / "side-a.wav", broken(music()), RATE, subtype="FLOAT")
    sums(folder, "side-a.wav")
    got = judge(folder, folder / "r.json")
    assert found(got) == [("not finite", 1.25)]
    assert got.side()["audio"]["checked"] == ["sha256 of SHA256SUMS"]


@pytest.mark.parametrize("change", ["shrinks", "goes away"])
def test_a_file_that_changes_while_it_is_heard_has_no_digest(folder, change, monkeypatch):
    sums(folder, "side-a.wav")
    path, process_source = folder / "side-a.wav", measuring.process_source

    def changed(source, *args, **more):
        os.truncate(path, path.stat().st_size // 2) if change == "shrinks" else path.unlink()
        return process_source(source, *args, **more)

    monkeypatch.setattr(measuring, "process_source", changed)
    got = judge(folder, folder / "r.json")
    assert (got.code, found(got)) == (1, [("changed", None)])
    assert got.side()["audio"]["sha256"] is None


def test_a_disk_that_fails_when_all_is_heard(folder, monkeypatch):
    never_in_hearing(monkeypatch)

    def failing(*_, **__):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("qc.intake.inspection.digests_of", failing)
    got = judge(folder, folder / "r.json")
    assert found(got) == [("missing", None)]


def test_every_file_of_a_side_has_its_own(folder):
    (folder / "delivery.yaml").write_text(TWO)
    sums(folder, "1.wav", "2.wav")
    got = judge(folder, folder / "r.json")
    files = got.side()["audio"]["files"]
    assert [(one["sha256"], one["checked"]) for one in files] == [
        (digest(folder / f"{i}.wav"), ["sha256 of SHA256SUMS"]) for i in (1, 2)
    ]
    sums(folder, "1.wav", "2.wav", wrong=["2.wav"])
    got = judge(folder, folder / "r.json")
    assert found(got) == [("checksum", None)]
    assert got.result("delivery.audio-disagrees")["findings"][0]["location"]["track"] == 2
