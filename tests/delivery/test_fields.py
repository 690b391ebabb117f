"""The JSON Schema says what people may write, and agrees with the reader."""

from __future__ import annotations

import copy
import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from qc.delivery.model import Delivery
from qc.delivery.reader import parse_delivery
from qc.model.errors import DeliveryError

WHOLE = """\
schema: 1
title: Quiet Harbour
catalogue: QH-001
part: {of: QH, volume: 2}
disc: {size: 12in, speed: 33}
ruleset: disc-12in-33@1.0.0
sides:
  - id: A
    audio: side-a.wav
    sha256: 9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08
    channels: [left, right]
    fold_down: {rear: -6 dB, law: gain}
    reference: approved-mix.wav
    cut_level: -3 dB
    inscription: QH-001 A
    prepared: [bass-mono, de-essed]
    lineup: {file: tones.wav, tones: [{start: "0:00.0", frequency: 1000 Hz, level: -18 dBFS}]}
    source: {medium: tape, generation: 1, format: "1/4 in two-track", speed: 38 cm/s, equalisation: IEC1,
      transferred_on: 2026-03-01,
      approvals: [{by: the producer, on: 2026-03-02, recommended_level: 0 dB, note: good}]}
    tracks:
      - {number: 1, title: Slack Water, start: "0:02.0", end: "4:31.480", isrc: any, gap_after: mark}
    waivers: [{check: level.clipped, tracks: [1], from: "1:02.0", to: "1:04.0", reason: meant so,
      owner: the house, expires: 2026-12-31}]
  - id: B
    tracks:
      - {number: 1, title: Bell Buoy, audio: b1.wav, gap_after: 3 s}
      - {number: 2, title: Low Light, audio: b2.wav}
notes: free text
"""
PLAIN: dict[str, Any] = {
    "schema": 1,
    "title": "Quiet Harbour",
    "disc": {"size": "12in", "speed": 33},
    "sides": [{"id": "A", "audio": "a.wav", "tracks": [{"number": 1, "start": "0:02.0", "end": 60.5}]}],
}


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    written = Delivery.model_json_schema(by_alias=True)
    Draft202012Validator.check_schema(written)
    return Draft202012Validator(written)


def as_json(data: Any) -> Any:
    """JSON has no days; YAML readers make them of 2026-03-01."""
    if isinstance(data, dict):
        return {key: as_json(value) for key, value in data.items()}
    if isinstance(data, list):
        return [as_json(value) for value in data]
    return data.isoformat() if isinstance(data, dt.date) else data


def test_the_whole_example_is_valid(schema: Draft202012Validator):
    schema.validate(as_json(YAML(typ="safe", pure=True).load(WHOLE)))


def test_the_whole_example_fits_the_models():
    Delivery.model_validate(as_json(YAML(typ="safe", pure=True).load(WHOLE)), by_name=False)


@pytest.mark.parametrize(
    "change",
    [
        ("title", 1984), ("catalogue", 1), ("title", True), ("title", None), ("title", ["x"]),
        ("catalogue", None),
        ("schema", 2), ("schema", None), ("foo", 1), ("schema_", 1), ("sides", []), ("sides", "A"),
        ("notes", "x\ny"),
        ("disc", None), ("disc", {"size": "12in", "speed": "33"}), ("disc", {"size": "12in", "speed": 78}),
        ("disc", {"size": "12in"}), ("disc", {"size": 12, "speed": 33}),
        ("part", {"of": "QH", "volume": 0}), ("part", {"of": "QH", "volume": 2}),
        ("side.id", 1), ("side.id", "A/B"), ("side.id", ""), ("side.id", "."), ("side.id", "x" * 17),
        ("side.audio", "/a.wav"), ("side.audio", "../a.wav"), ("side.audio", "x/../a.wav"),
        ("side.audio", "C:a.wav"),
        ("side.audio", "x\\a.wav"), ("side.audio", "..a/b..wav"), ("side.audio", "x/y.wav"),
        ("side.audio", None),
        ("side.audio", "x/.."),
        ("side.sha256", "ab" * 32), ("side.sha256", "AB" * 32), ("side.sha256", "ab" * 31),
        ("side.sha256", "xy" * 32),
        ("side.channels", ["left", "right"]), ("side.channels", ["right", "left"]),
        ("side.channels", ["left"]),
        ("side.cut_level", "-3 dB"), ("side.cut_level", "-3dB"), ("side.cut_level", "-3"),
        ("side.cut_level", -3),
        ("side.cut_level", "-3 LUFS"), ("side.cut_level", None), ("side.prepared", ["x"]),
        ("side.prepared", "x"),
        ("side.source", {"medium": "tape"}), ("side.source", {"generation": 1}),
        ("side.source", {"medium": "tape", "speed": "38 cm/s"}),
        ("side.source", {"medium": "tape", "speed": 38}),
        ("track.number", 0), ("track.number", -1), ("track.number", "x"), ("track.title", None),
        ("track.title", "x"),
        ("track.start", 0), ("track.start", 2.5), ("track.start", -1), ("track.start", "0:02"),
        ("track.start", "0:2"),
        ("track.start", "0:00:02"), ("track.start", "0:00:02.0"), ("track.start", None), ("track.start", [1]),
        ("track.start", "0:60"), ("track.start", "x"), ("track.gap_after", "mark"),
        ("track.gap_after", "segue"),
        ("track.gap_after", "long"), ("track.gap_after", 3), ("track.isrc", "x"),
    ],
    ids=repr,
)  # fmt: skip
def test_the_schema_and_the_reader_agree(schema: Draft202012Validator, change: tuple[str, Any]):
    data = copy.deepcopy(PLAIN)
    path, value = change
    part, _, key = path.rpartition(".")
    place = {"": data, "side": data["sides"][0], "track": data["sides"][0]["tracks"][0]}[part]
    place[key] = value
    try:
        parse_delivery(_yaml(data), Path("d.yaml"), Path())
    except DeliveryError:
        read = False
    else:
        read = True
    assert schema.is_valid(data) == read


def _yaml(data: Any) -> bytes:
    import json

    return json.dumps(data).encode()


def test_optional_keys_have_no_null(schema: Draft202012Validator):
    assert '"null"' not in str(schema.schema).replace("'", '"')
    assert schema.schema["required"] == ["schema", "title", "sides"]
