"""The JSON report: the model, numbers unrounded, keys in the model's order."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, BinaryIO

from qc.plugin_base import Evidence, Model, Renderer, Report

if TYPE_CHECKING:
    from qc.model.where import WhereFound


class Json(Renderer):
    """Writes the whole report as JSON."""

    name = "json"
    suffixes = (".json",)

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Write the report as UTF-8 with two spaces of indent and a final line end."""
        out.write(json_bytes(report))


def json_bytes(model: Model, **_layout: object) -> bytes:
    """Return any of the reports' models as JSON, UTF-8; the layout of a page of text has no meaning here."""
    text = json.dumps(model.model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8", "replace") + b"\n"


def where_json(found: WhereFound, **_layout: object) -> bytes:
    """Return a place on a side as JSON; the view is a picture and no part of it."""
    return json_bytes(found.report)
