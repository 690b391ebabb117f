"""Audio that changes while it is read: one plain finding and exit code 1, whatever becomes of the file."""

from __future__ import annotations

import os

import numpy as np
import pytest
import soundfile

from qc.audio import source as source_module
from qc.testing.deliveries import judge

RATE = 48_000
HEAD = "schema: 1\ntitle: Quiet Harbour\ndisc: {size: 12in, speed: 33}\nsides:\n  - id: A\n"
TWO = HEAD + "    tracks:\n" + "".join(f"      - {{number: {i}, title: No, audio: {i}.wav}}\n" for i in (1, 2))


def music(frames=3 * RATE, channels=2):
    return 0.1 * np.random.default_rng(4).standard_normal((frames, channels)).clip(-3, 3)


def write(path, kind, frames=3 * RATE, channels=2):
    soundfile.write(path, music(frames, channels), RATE, format=kind, subtype="PCM_24")


def truncated(path, kind):
    os.truncate(path, path.stat().st_size // 2)


def emptied(path, kind):
    os.truncate(path, 0)


def grown(path, kind):
    with path.open("ab") as file:
        file.write(bytes(60_000))


def rewritten(path, kind):
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2)
        file.write(os.urandom(600))


def replaced(path, kind):
    write(path.with_name("new"), kind, RATE)
    path.with_name("new").replace(path)


def replaced_by_one_channel(path, kind):
    write(path.with_name("new"), kind, channels=1)
    path.with_name("new").replace(path)


def replaced_by_another_kind(path, kind):
    write(path.with_name("new"), "WAV" if kind == "FLAC" else "FLAC", RATE)
    path.with_name("new").replace(path)


def replaced_by_a_folder(path, kind):
    path.unlink()
    path.mkdir()


def removed(path, kind):
    path.unlink()


CHANGES = [truncated, emptied, grown, rewritten, replaced, replaced_by_one_channel, replaced_by_another_kind,
           replaced_by_a_folder, removed]  # fmt: skip


@pytest.fixture
def during(monkeypatch):
    """Let something happen when a block was read, before the next one is."""
    monkeypatch.setattr(source_module, "BLOCK", 20_000)
    monkeypatch.setattr(source_module, "SLICE", 20_000)

    def happens(what):
        load, done = source_module.FileSource.load, []

        def loaded(self, count):
            load(self, count)
            if not done and self.stream.source.startswith("side:"):  # not the noise that a first run is warmed with
                done.append(what())

        monkeypatch.setattr(source_module.FileSource, "load", loaded)

    return happens


@pytest.mark.parametrize("kind", ["WAV", "AIFF", "FLAC"])
@pytest.mark.parametrize("change", CHANGES)
def test_a_file_that_changes_in_the_pass(tmp_path, during, kind, change):
    path = tmp_path / "side-a"
    write(path, kind)
    (tmp_path / "delivery.yaml").write_text(HEAD + "    audio: side-a\n")
    during(lambda: change(path, kind))
    got = judge(tmp_path, tmp_path / "r.json")
    (finding,) = got.result("delivery.audio-disagrees")["findings"]
    assert (got.code, finding["severity"], finding["measured"]) == (1, "fail", "changed")
    assert finding["message"].startswith("side-a changed while it was read: it ")
    assert (got.side()["passes"], got.side()["audio"]["sha256"]) == (0, None)


def test_a_file_that_only_grows_says_by_how_much(tmp_path, during):
    path = tmp_path / "side-a.wav"
    write(path, "WAV")
    (tmp_path / "delivery.yaml").write_text(HEAD + "    audio: side-a.wav\n")
    size = path.stat().st_size
    during(lambda: grown(path, "WAV"))
    (finding,) = judge(tmp_path, tmp_path / "r.json").result("delivery.audio-disagrees")["findings"]
    assert f"it had {size:,} bytes and has {size + 60_000:,} now" in finding["message"]


@pytest.mark.parametrize("change", [replaced_by_one_channel, removed, rewritten])
def test_a_file_of_a_joined_side_is_named_with_its_track(tmp_path, during, change):
    """Also one whose turn has not come yet."""
    for i in (1, 2):
        write(tmp_path / f"{i}.wav", "WAV")
    (tmp_path / "delivery.yaml").write_text(TWO)
    during(lambda: change(tmp_path / "2.wav", "WAV"))
    got = judge(tmp_path, tmp_path / "r.json")
    (finding,) = got.result("delivery.audio-disagrees")["findings"]
    assert (got.code, finding["measured"], finding["location"]["track"]) == (1, "changed", 2)
    assert finding["message"].startswith("2.wav (track 2) changed")


def test_other_sides_are_judged_all_the_same(tmp_path, during):
    for name in ("a.wav", "b.wav"):
        write(tmp_path / name, "WAV")
    (tmp_path / "delivery.yaml").write_text(HEAD + "    audio: a.wav\n  - id: B\n    audio: b.wav\n")
    during(lambda: removed(tmp_path / "a.wav", "WAV"))
    got = judge(tmp_path, tmp_path / "r.json")
    assert got.code == 1
    assert [got.side(one)["passes"] for one in "AB"] == [0, 1]


def test_what_does_not_change_the_file_is_no_change(tmp_path, during):
    """Its permissions, and a second name on the disk, are not the file's content."""
    path = tmp_path / "side-a.wav"
    write(path, "WAV")
    (tmp_path / "delivery.yaml").write_text(HEAD + "    audio: side-a.wav\n")

    def elsewhere():
        path.chmod(0o644)
        os.link(path, tmp_path / "copy.wav")

    during(elsewhere)
    got = judge(tmp_path, tmp_path / "r.json")
    assert got.result("delivery.audio-disagrees")["outcome"] == "pass"
