"""A file of waivers beside a delivery: those that are no business of whoever sent it, each with its line."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field

from qc.delivery.fields import InputModel, SchemaOne, SideId
from qc.delivery.model import Waiver
from qc.files.yaml_source import YamlSource, load_yaml, validate
from qc.model.errors import DeliveryError


class SidedWaiver(Waiver):
    """A waiver that says itself which side it is for; without one it is for every side, and the delivery as a whole."""

    side: SideId | None = None


class WaiversFile(InputModel):
    """All that a file of waivers holds."""

    schema_: SchemaOne = Field(alias="schema", examples=["1"])
    waivers: tuple[SidedWaiver, ...]


def read_waivers(path: Path) -> tuple[WaiversFile, YamlSource]:
    """Read a file of waivers with its lines; raises DeliveryError, "FILE:LINE: ...", for what cannot be used."""
    yaml_source = load_yaml(path, "waivers", DeliveryError)
    return validate(yaml_source, WaiversFile, DeliveryError), yaml_source
