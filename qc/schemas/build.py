"""Generate the JSON Schemas of all files that Sidegate reads and writes from their models.

`python -m qc.schemas.build` rewrites the files in qc/schemas; `sidegate schema` prints them.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue

from qc.delivery.approvals import ApprovalsFile
from qc.delivery.model import Delivery
from qc.delivery.waivers import WaiversFile
from qc.files.atomic_write import put_file
from qc.model.listen import ListenReport
from qc.model.plan import PlanReport
from qc.model.report import Report
from qc.model.ruleset_diff import RulesetDiff
from qc.model.where import WhereReport
from qc.ruleset.model import RulesetFile
from qc.ruleset.partial import in_part

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core.core_schema import SerSchema

FOLDER = Path(__file__).parent.parent / "schemas"
_MODELS: dict[str, tuple[type[BaseModel], Literal["serialization", "validation"], str]] = {
    "report": (Report, "serialization", "Sidegate report"),
    "plan": (PlanReport, "serialization", "Sidegate plan"),
    "listen": (ListenReport, "serialization", "Sidegate listen"),
    "where": (WhereReport, "serialization", "Sidegate where"),
    "delivery": (Delivery, "validation", "Sidegate delivery"),
    "ruleset": (RulesetFile, "validation", "Sidegate ruleset"),
    "rulesets-diff": (RulesetDiff, "serialization", "Sidegate rulesets-diff"),
    "approvals": (ApprovalsFile, "validation", "Sidegate approvals"),
    "waivers": (WaiversFile, "validation", "Sidegate waivers"),
}
NAMES = tuple(_MODELS)


class _SchemaGenerator(GenerateJsonSchema):
    """A schema generator that titles models only and ignores serializers that leave fields out."""

    def field_title_should_be_set(self, schema: Any) -> bool:  # noqa: ARG002
        """Return False: a title of a field would only repeat its key."""
        return False

    def ser_schema(self, schema: SerSchema | Any) -> JsonSchemaValue | None:
        """Ignore a wrapping serializer, so that a model that leaves out unset fields keeps the schema of its fields."""
        return None if schema["type"] == "function-wrap" else super().ser_schema(schema)


def generated(name: str) -> str:
    """Return the text of the schema file of one of `NAMES`; raises KeyError."""
    model, mode, title = _MODELS[name]
    schema = model.model_json_schema(by_alias=True, mode=mode, schema_generator=_SchemaGenerator)
    schema = in_part(schema) if model is RulesetFile else schema
    first = {"$schema": _SchemaGenerator.schema_dialect, "title": title}
    return json.dumps(first | _without_examples(schema) | first, indent=2) + "\n"


def _without_examples(part: Any) -> Any:
    """Remove the examples: they show the YAML notation, and the schema describes the values read from it."""
    if isinstance(part, dict):
        return {key: _without_examples(value) for key, value in part.items() if key != "examples"}
    return [_without_examples(item) for item in part] if isinstance(part, list) else part


def main() -> None:
    """Rewrite the schema files."""
    FOLDER.mkdir(exist_ok=True)
    for name in NAMES:
        put_file(FOLDER / f"{name}.json", generated(name).encode(), name)


if __name__ == "__main__":
    main()
