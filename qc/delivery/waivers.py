"""Read a waiver file, which the mastering house keeps apart from the delivery, with the line of each waiver."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field

from qc.delivery.fields import InputModel, SchemaOne, SideId
from qc.delivery.model import Waiver
from qc.files.yaml_source import YamlSource, load_yaml, validate
from qc.model.errors import DeliveryError


class SidedWaiver(Waiver):
    """A waiver with the id of its side; without one it is for every side and the delivery as a whole."""

    side: SideId | None = None


class WaiversFile(InputModel):
    """The contents of a waiver file."""

    schema_: SchemaOne = Field(alias="schema", examples=["1"])
    waivers: tuple[SidedWaiver, ...]


def read_waivers(path: Path) -> tuple[WaiversFile, YamlSource]:
    """Read a waiver file with its lines; raises DeliveryError, "FILE:LINE: ...", for an invalid one."""
    yaml_source = load_yaml(path, "waivers", DeliveryError)
    return validate(yaml_source, WaiversFile, DeliveryError), yaml_source
