"""Files whose tags independent programs wrote, judged as a delivery."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from qc import api
from qc.model.report import CheckResult
from support.tagged import bext, chunk, cue, info, wav

SECONDS = 3
TRACKS = {"A": ("Overture", "XX-QQQ-26-00001"), "B": ("Night Train", "XX-QQQ-26-00002")}


def tone(hz: float) -> np.ndarray:
    return np.tile(0.25 * np.sin(2 * np.pi * hz * np.arange(SECONDS * 48_000) / 48_000), (2, 1))


def deliver(folder: Path, **files: str) -> CheckResult:
    """Judge a delivery of sides A and B, whose files lie in the folder."""
    lines = ["schema: 1", "title: Quiet Harbour", "catalogue: QH-001", "disc: {size: 12in, speed: 33}", "sides:"]
    for side, file in files.items():
        title, isrc = TRACKS[side]
        track = f'{{number: 1, title: "{title}", isrc: {isrc}, start: 0, end: {SECONDS}}}'
        lines += [f"  - {{id: {side}, audio: {file}, cut_level: -20 dB, tracks: [{track}]}}"]
    (folder / "delivery.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    report = api.check(folder, api.Options(), api.build_host())
    return next(result for result in report.results if result.check == "file.says-otherwise")


def kinds(result: CheckResult) -> list[tuple[str | None, str, str]]:
    return [(it.location.side, str(it.measured), it.severity) for it in result.findings]


@pytest.mark.ffmpeg
def test_tags_by_ffmpeg_of_the_other_side_fail_and_its_own_pass(tmp_path: Path):
    def written(name: str, hz: float, *words: str) -> str:
        source = f"sine=frequency={hz}:duration={SECONDS}:sample_rate=48000"
        metadata = [part for word in words for part in ("-metadata", word)]
        command = ["ffmpeg", "-v", "error", "-f", "lavfi", "-i", source, "-ac", "2", "-write_bext", "1"]
        subprocess.run([*command, *metadata, str(tmp_path / name)], check=True)
        return name

    first = written("a.wav", 440, "description=QH-001 Side B, flat", "title=Night Train", "ISRC=XXQQQ2600001")
    second = written("b.wav", 550, "description=QH-001 Side B, flat", "title=Night Train", "ISRC=XXQQQ2600002")
    result = deliver(tmp_path, A=first, B=second)
    assert sorted(kinds(result)) == [("A", "side", "fail"), ("A", "title of another side", "warn")]
    assert 'says side B ("QH-001 Side B, flat", BWF bext Description)' in result.findings[0].message
    assert {it.location.line for it in result.findings} == {6}


@pytest.mark.skipif(shutil.which("metaflac") is None, reason="needs metaflac")
def test_tags_by_metaflac_contradict_the_delivery(tmp_path: Path):
    for name, hz in (("a.flac", 440), ("b.flac", 550)):
        soundfile.write(tmp_path / name, tone(hz).T, 48_000)
    tags = ["ALBUM=Winter Roads", "CATALOGNUMBER=WR-012", "ISRC=XX-QQQ-26-00009"]
    command = ["metaflac", *(f"--set-tag={tag}" for tag in tags), str(tmp_path / "a.flac")]
    subprocess.run(command, check=True)
    result = deliver(tmp_path, A="a.flac", B="b.flac")
    assert sorted(kinds(result)) == [("A", "ISRC", "warn"), ("A", "catalogue number", "warn"), ("A", "title", "warn")]
    assert next(it for it in result.findings if it.measured == "ISRC").location.field == "tracks.0.isrc"


def test_hostile_tags_are_a_note_and_the_rest_is_judged(tmp_path: Path):
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><BWFXML><NOTE>&b;</NOTE></BWFXML>'
    chunks = [
        chunk(b"iXML", bomb),
        bext("x" * 256, history=b"h" * (16 << 20)),
        info(INAM="\x1b]0;Winter\x07 \u202eRoads"),
    ]
    wav(tmp_path / "a.wav", *chunks, cue(range(3000), ["edit"] * 3000), samples=tone(440))
    wav(tmp_path / "b.wav", samples=tone(550))
    result = deliver(tmp_path, A="a.wav", B="b.wav")
    assert kinds(result) == [("A", "title", "warn")]
    assert all(it.message.isprintable() for it in result.findings)
    assert "a.wav has an iXML chunk that is not well formed" in (result.reason or "")
