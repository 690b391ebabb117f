"""One file a track, heard as one: the same digits as the programme in one file, and faults that name their file."""

from __future__ import annotations

import json
import os
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.audio import source as source_module
from qc.audio.multi_file_source import FileSegment, JoinedSource
from qc.audio.source import AudioFaultError
from qc.testing.deliveries import Sent, deliver, judge
from qc.testing.music import Song, song

DISAGREES = "delivery.audio-disagrees"
HEAD = "schema: 1\ntitle: Quiet Harbour\ndisc: {size: 12in, speed: 33}\nsides:\n  - id: A\n    tracks:\n"


def write(folder: Path, tracks, gaps=(), rate=48_000, coding="DOUBLE", suffix=".wav", more=""):
    """Write one file a track and the delivery; `gaps` as the delivery writes them."""
    folder.mkdir(exist_ok=True)
    lines = []
    for i, samples in enumerate(tracks):
        name = f"a{i + 1}{suffix}"
        if samples is not None:
            soundfile.write(folder / name, samples.T, rate, subtype=coding)
        gap = f", gap_after: {gaps[i]}" if i < len(gaps) and gaps[i] else ""
        lines.append(f'      - {{number: {i + 1}, title: "No. {i + 1}", audio: {name}{gap}}}\n')
    (folder / "delivery.yaml").write_text(HEAD + "".join(lines) + more)
    return folder


def music(rate, seed=3, seconds=9.0):
    return sung(rate, seed, seconds).copy()


@cache
def sung(rate, seed, seconds):
    return 0.5 * song(Song(seconds, rate, seed=seed, tempo=120.0, cymbals=1.2, bass_width=0.2))


def numbers(report):
    one = report.side("A")
    return {name: quantity["value"] for name, quantity in one["measurements"].items()} | {
        name: reached["level"]["value"] for name, reached in one["levels"]["by_limit"].items()
    }


@pytest.mark.parametrize(
    ("rate", "mono"),
    [
        pytest.param(44_100, False, id="44.1 kHz", marks=pytest.mark.long),
        pytest.param(96_000, False, id="96 kHz"),
        pytest.param(48_000, True, id="mono"),
    ],
)
def test_joined_tracks_are_the_same_programme_in_one_file(tmp_path, rate, mono):
    """Gaps: an odd time, a mark's 2 s, none; files of odd lengths, so that nothing falls on the edge of a slice."""
    whole = music(rate)
    if mono:
        whole = whole.mean(axis=0)
    cuts = [round(second * rate) + 17 for second in (2.3, 4.9, 7.1)]
    pieces = np.split(whole, cuts, axis=-1)
    gaps = [round(1.2345 * rate), 2 * rate, 0]
    shape = (*whole.shape[:-1],)
    silence = [np.zeros((*shape, gap)) for gap in gaps]
    one = [piece for pair in zip(pieces, [*silence, np.zeros((*shape, 0))], strict=True) for piece in pair]
    starts = np.cumsum([0, *(a.shape[-1] + gap for a, gap in zip(pieces, gaps, strict=False))])
    times = [(float(s / rate), float((s + piece.shape[-1]) / rate)) for s, piece in zip(starts, pieces, strict=True)]
    folder = deliver(tmp_path / "one", {"A": Sent(np.concatenate(one, axis=-1), rate, tracks=times, coding="DOUBLE")})
    text = (folder / "delivery.yaml").read_text()
    (folder / "delivery.yaml").write_text(text.replace('"No. 3", ', '"No. 3", gap_after: segue, '))
    written = ["1.2345 s", "mark", "segue"]
    expected = judge(folder, tmp_path / "one.json")
    got = judge(write(tmp_path / "joined", pieces, written, rate), tmp_path / "joined.json")
    assert numbers(got).keys() == numbers(expected).keys()
    for name, value in numbers(expected).items():
        assert numbers(got)[name] == pytest.approx(value, rel=1e-9, abs=1e-9), name
    for track, other in zip(got.side()["geometry"]["tracks"], expected.side()["geometry"]["tracks"], strict=True):
        assert (track.pop("title"), track) == (other.pop("title"), pytest.approx(other, rel=1e-9))
    audio = got.side()["audio"]
    assert audio["file"] == "a1.wav + a2.wav + a3.wav + a4.wav"
    assert audio["sha256"] is None
    assert audio["duration_s"] == expected.side()["audio"]["duration_s"]
    assert [file["start_s"] for file in audio["files"]] == pytest.approx([start for start, _ in times], abs=1e-12)
    assert all(len(file["sha256"]) == 64 for file in audio["files"])
    for track, (start, end) in zip(got.side()["declared"]["tracks"], times, strict=True):
        assert (track["start"], track["end"]) == pytest.approx((start, end), abs=1e-12)


@pytest.mark.parametrize(("gap", "seconds"), [("mark", 2.0), (None, 2.0), ("segue", 0.0), ("0.25 s", 0.25)])
def test_gaps_as_written(tmp_path, gap, seconds):
    got = judge(write(tmp_path / "d", [music(48_000, 1, 2.0), music(48_000, 2, 2.0)], [gap]), tmp_path / "r.json")
    assert got.side()["audio"]["duration_s"] == 4.0 + seconds


def test_bit_depth_and_container_may_differ(tmp_path):
    folder = write(tmp_path / "d", [music(48_000, 1, 2.0), music(48_000, 2, 2.0)], coding="PCM_24")
    soundfile.write(folder / "a2.flac", music(48_000, 2, 2.0).T, 48_000, subtype="PCM_16")
    text = (folder / "delivery.yaml").read_text()
    (folder / "delivery.yaml").write_text(text.replace("a2.wav", "a2.flac"))
    got = judge(folder, tmp_path / "r.json")
    assert got.outcome(DISAGREES) == "pass"
    assert (got.side()["audio"]["format"], got.side()["audio"]["coding"]) == ("WAV and FLAC", "24 bit and 16 bit")
    assert "audio.bit_depth" not in got.side()["measurements"]


# -- faults --------------------------------------------------------------------------------------------------------


def faults(folder, tmp_path):
    got = judge(folder, tmp_path / "r.json")
    assert got.code == 1
    assert got.outcome(DISAGREES) == "fail"
    assert got.side()["levels"] is None
    found = got.result(DISAGREES)["findings"]
    for one in found:  # the line of the track's own file, the 7th and on
        at = one["location"]
        assert (at["field"], at["line"]) == (f"tracks.{at['track'] - 1}.audio", 6 + at["track"])
    return [
        (f["measured"], f["message"], f["location"]["track"], f["location"]["start_s"]) for f in found
    ]  # fmt: skip


def two(tmp_path, change, **more):
    """Two tracks of 2 s with 2 s between, the second one changed."""
    second = change(music(48_000, 2, 2.0))
    return write(tmp_path / "d", [music(48_000, 1, 2.0), second], **more)


def holding(value):
    def change(x):
        x[1, 12_000] = value
        return x

    return change


FAULTS = {
    "missing": (lambda _: None, "missing", "a2.wav (track 2) is not there", None),
    "not a number": (holding(np.nan), "not finite", "a2.wav (track 2) holds a sample that is not a number", 4.25),
    "absurd": (holding(1e30), "absurd level", "a2.wav (track 2) holds a sample of +600 dBFS at 0:00.250", 4.25),
    "silent": (np.zeros_like, "silent", "a2.wav (track 2) holds no programme from start to end", 4.0),
    "no frames": (lambda x: x[:, :0], "empty", "a2.wav (track 2) holds no frames", None),
    "mono": (
        lambda x: x[:1], "mixed formats", "a2.wav (track 2) has 1 channel, a1.wav (track 1) 2 channels;", None,
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_names_its_file_and_track(tmp_path, fault):
    change, kind, message, second = FAULTS[fault]
    ((found, said, track, start),) = faults(two(tmp_path, change), tmp_path)
    assert (found, track) == (kind, 2)
    assert said.startswith(message)
    assert start == (None if second is None else pytest.approx(second, abs=1e-4))


def test_a_file_that_is_cut_off(tmp_path):
    folder = two(tmp_path, lambda x: x, coding="PCM_24")
    size = (folder / "a2.wav").stat().st_size
    os.truncate(folder / "a2.wav", size // 2)
    ((kind, said, track, start),) = faults(folder, tmp_path)
    assert (kind, track) == ("cut off", 2)
    assert said == "a2.wav (track 2) is cut off: it ends at 0:01.000, its header says 0:02.000"
    assert start == pytest.approx(5.0, abs=0.01)


def test_mixed_sample_rates_are_refused_by_name(tmp_path):
    folder = two(tmp_path, lambda x: x)
    soundfile.write(folder / "a2.wav", music(96_000, 2, 2.0).T, 96_000, subtype="PCM_24")
    ((kind, said, track, _),) = faults(folder, tmp_path)
    assert (kind, track) == ("mixed formats", 2)
    what = "a2.wav (track 2) has a sample rate of 96000 Hz, a1.wav (track 1) of 48000 Hz"
    assert said == f"{what}; they cannot be joined as they are"


def test_every_file_is_examined(tmp_path):
    folder = write(tmp_path / "d", [None, music(48_000, 2, 2.0)[:, :0], None])
    assert [(kind, track) for kind, _, track, _ in faults(folder, tmp_path)] == [
        ("missing", 1), ("empty", 2), ("missing", 3),
    ]  # fmt: skip


# -- the source by itself ------------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    sizes=st.lists(st.tuples(st.integers(1, 900), st.integers(0, 700)), min_size=1, max_size=5),
    size=st.integers(3, 400),
    times=st.integers(1, 4),
)
def test_any_block_gives_the_same_frames(tmp_path_factory, sizes, size, times):
    folder = tmp_path_factory.mktemp("parts")
    rng = np.random.default_rng(len(sizes))
    parts, whole, at = [], [], 0
    for i, (frames, gap) in enumerate(sizes):
        x = rng.uniform(-1.0, 1.0, (frames, 2))
        soundfile.write(folder / f"{i}.wav", x, 48_000, subtype="DOUBLE")
        parts.append(FileSegment(folder / f"{i}.wav", f"{i}.wav", i + 1, at, frames, 48_000))
        whole += [x.T, np.zeros((2, gap))]
        at += frames + gap
    expected = np.concatenate(whole[:-1], axis=1)
    before = source_module.BLOCK, source_module.SLICE
    source_module.BLOCK, source_module.SLICE = times * size, size
    try:
        source = JoinedSource(parts, "side:A")
        source.open()
        blocks = [source.read() for _ in range(source.blocks)]
        source.close()
    finally:
        source_module.BLOCK, source_module.SLICE = before
    slices = [samples for block in blocks for samples in block]
    assert {samples.shape[1] for samples in slices[:-1]} <= {size}
    assert not any(samples.flags.writeable for samples in slices)
    assert source.stream.frames == expected.shape[1]
    np.testing.assert_array_equal(np.concatenate(slices, axis=1), expected)


def test_a_file_that_went_away_while_it_was_heard(tmp_path):
    soundfile.write(tmp_path / "1.wav", np.zeros((10, 2)), 48_000)
    parts = [
        FileSegment(tmp_path / "1.wav", "1.wav (track 1)", 1, 0, 10, 48_000),
        FileSegment(tmp_path / "2.wav", "2.wav (track 2)", 2, 48_000, 10, 48_000),
    ]
    source = JoinedSource(parts, "side:A")
    source.open()
    with pytest.raises(AudioFaultError) as caught:
        source.read()
    source.close()
    assert caught.value.fault.message.startswith("2.wav (track 2) cannot be decoded")
    assert (caught.value.fault.at.track, caught.value.fault.at.start_s) == (2, 1.0)


def test_the_report_is_plain_json(tmp_path):
    judge(two(tmp_path, lambda x: x), tmp_path / "r.json")
    audio = json.loads((tmp_path / "r.json").read_text())["sides"][0]["audio"]
    assert [(f["track"], f["file"], f["start_s"]) for f in audio["files"]] == [(1, "a1.wav", 0.0), (2, "a2.wav", 4.0)]


def test_without_digests_there_is_nothing_to_hash(tmp_path):
    soundfile.write(tmp_path / "a.wav", music(48_000, seconds=2.0).T, 48_000)
    joined = JoinedSource([FileSegment(tmp_path / "a.wav", "a.wav", 1, 0, 96_000, 48_000)], "side:A")
    joined.open()
    joined.read()
    joined.hash()
    joined.close()
