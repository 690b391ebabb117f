"""Write the delivery of a case: its audio files with their faults, and its delivery.yaml."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from qc.delivery.timecode import write_time
from qc.delivery.waivers import SidedWaiver
from qc.testing.case_file import CaseFile, CaseSide, TrackMade
from qc.testing.deliveries import SUFFIXES
from qc.testing.steps import render

CODINGS = {
    "8 bit": "PCM_U8", "16 bit": "PCM_16", "24 bit": "PCM_24", "32 bit": "PCM_32", "32 bit float": "FLOAT",
    "64 bit float": "DOUBLE",
}  # fmt: skip
STEPS = {"16 bit": 16, "24 bit": 24, "32 bit": 32}
BLOCK = 1 << 16
"""Frames that are rounded and written at a time; a block fits into the processor's cache."""


def make(case: CaseFile, folder: Path) -> Path:
    """Write the delivery of a case into a folder, created where needed, and return the path of its delivery.yaml."""
    folder.mkdir(parents=True, exist_ok=True)
    sides = [_side(side, folder) for side in case.sides]
    for name, text in case.beside.items():
        (folder / name).write_text(text, encoding="utf-8")
    disc = {"size": "12in", "speed": "33"} if case.disc is None else case.disc.model_dump()
    top = {"schema": "1", "title": "Quiet Harbour", "catalogue": "QH-001", "disc": disc, **case.delivery}
    path = folder / "delivery.yaml"
    path.write_text("\n".join([*_lines(top), "sides:", *_items(sides, "  ")]) + "\n", encoding="utf-8")
    return path


def write_waivers(waivers: Sequence[SidedWaiver], path: Path) -> Path:
    """Write the waivers of a case to a file, and return its path."""
    rows = [_waiver(waiver) for waiver in waivers]
    path.write_text("\n".join(["schema: 1", "waivers:", *_items(rows, "  ")]) + "\n", encoding="utf-8")
    return path


def _waiver(waiver: SidedWaiver) -> dict[str, Any]:
    """Return the entry of a waiver in a file of waivers."""
    entry: dict[str, Any] = {"check": waiver.check}
    times = {"from": waiver.from_, "to": waiver.to}
    entry |= {} if waiver.side is None else {"side": waiver.side}
    entry |= {"tracks": list(waiver.tracks)} if waiver.tracks else {}
    entry |= {key: write_time(time) for key, time in times.items() if time is not None}
    entry |= {"reason": waiver.reason, "owner": waiver.owner}
    return entry | ({} if waiver.expires is None else {"expires": waiver.expires.isoformat()})


def _lines(values: Mapping[str, Any], indent: str = "") -> list[str]:
    """Return one line for each key, so that messages name the line; the values are JSON, which is YAML too."""
    return [f"{indent}{key}: {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]


def _items(values: Sequence[Mapping[str, Any]], indent: str) -> list[str]:
    lines: list[str] = []
    for value in values:
        tracks = [track for track in value.get("tracks", []) if isinstance(track, Mapping)]
        own = _lines({key: item for key, item in value.items() if key != "tracks" or not tracks}, f"{indent}  ")
        if tracks:
            own += [f"{indent}  tracks:", *_items(tracks, f"{indent}    ")]
        lines += [f"{indent}- {own[0].lstrip()}", *own[1:]]
    return lines


def _side(side: CaseSide, folder: Path) -> dict[str, Any]:
    """Write the files of a side and return its entry in the delivery file."""
    entry: dict[str, Any] = {"id": side.id}
    if side.audio is not None:
        file = folder / (side.name or f"side-{side.id.lower()}{SUFFIXES[side.container]}")
        _write(side, side.audio, side.rate, file)
        entry["audio"] = file.name
        entry |= _checksum(side, file)
        side.file.do(file)
    entry |= side.paper
    tracks = [_track(side, i, folder) for i in range(len(side.tracks))]
    return entry | ({"tracks": tracks} if tracks else {})


def _track(side: CaseSide, index: int, folder: Path) -> dict[str, Any]:
    track: TrackMade = side.tracks[index]
    number = track.number or str(index + 1)
    entry: dict[str, Any] = {"number": number, "title": track.title or f"No. {number}"}
    for name in ("start", "end", "isrc", "gap_after"):
        if getattr(track, name) is not None:
            entry[name] = getattr(track, name)
    if track.audio is not None:
        file = folder / f"{side.id.lower()}-{index + 1}{SUFFIXES[side.container]}"
        _write(side, track.audio, track.rate, file)
        entry["audio"] = file.name
    return entry


def _write(side: CaseSide, steps: Sequence[Any], rate: int, file: Path) -> None:
    import numpy as np
    import soundfile

    x = render(tuple(steps), rate)
    rows = {"1": x[:1], "2": x, "4": np.concatenate([x, x])}[side.channels]
    kind = {"format": side.container, "subtype": CODINGS[side.coding]}
    with soundfile.SoundFile(file, "w", rate, len(rows), **kind) as out:
        for tag, text in side.tags.items():
            setattr(out, tag, text)
        for start in range(0, rows.shape[1], BLOCK):
            out.write(_coded(rows[:, start : start + BLOCK].T, side.coding))


def _coded(frames: Any, coding: str) -> Any:
    """Round to whole steps of the coding, since libsndfile rounds differently for each container."""
    import numpy as np

    if coding not in STEPS:
        return frames
    steps = float(1 << (STEPS[coding] - 1))
    whole = np.clip(np.rint(frames * steps), -steps, steps - 1.0)
    return (whole * 2.0 ** (32 - STEPS[coding])).astype(np.int32)


def _checksum(side: CaseSide, file: Path) -> dict[str, str]:
    from qc.testing import faults

    stated = side.file.checksum
    return {} if stated is None else {"sha256": faults.checksum(file, right=stated == "right")}
