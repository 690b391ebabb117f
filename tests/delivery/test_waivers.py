"""A file of waivers: its JSON Schema and its reader agree, and a delivery keeps its own waivers from the checks."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from qc.delivery.reader import parse_delivery
from qc.delivery.waivers import WaiversFile, read_waivers
from qc.model.errors import DeliveryError

GOOD = {"check": "level.clipped", "reason": "the fuzz", "owner": "M. Reed"}


@pytest.fixture(scope="module")
def schema():
    written = WaiversFile.model_json_schema(by_alias=True)
    Draft202012Validator.check_schema(written)
    return Draft202012Validator(written)


@pytest.mark.parametrize(
    ("change", "fits"),
    [
        ({}, True),
        ({"side": "A", "tracks": [1, 2], "from": "1:02.5", "to": 70, "expires": "2026-12-31"}, True),
        ({"side": "A/B"}, False),
        ({"tracks": []}, False),
        ({"tracks": [0]}, False),
        ({"tracks": 1}, False),
        ({"from": "1:2"}, False),
        ({"to": -1}, False),
        ({"owner": ["a", "b"]}, False),
        ({"until": "2026-12-31"}, False),
        ({"from_": 1}, False),
    ],
    ids=repr,
)
def test_the_schema_and_the_reader_agree(schema, tmp_path, change, fits):
    data = {"schema": 1, "waivers": [GOOD | change]}
    path = tmp_path / "waivers.yaml"
    path.write_text(json.dumps(data), encoding="utf-8")
    assert schema.is_valid(data) == fits
    if fits:
        assert len(read_waivers(path)[0].waivers) == 1
    else:
        with pytest.raises(DeliveryError, match=r"waivers\.yaml:1: "):
            read_waivers(path)


def test_no_check_sees_what_is_waived():
    side = {"id": "A", "audio": "a.wav", "waivers": [GOOD]}
    text = json.dumps({"schema": 1, "title": "t", "disc": {"size": "12in", "speed": 33}, "sides": [side]})
    delivery = parse_delivery(text.encode(), Path("d.yaml"), Path()).delivery
    assert delivery.sides[0].waivers[0].owner == "M. Reed"
    assert "waivers" not in delivery.declared("A")
