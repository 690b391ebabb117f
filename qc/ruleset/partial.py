"""The JSON Schema of a ruleset file: one that extends another, or is only there to be extended, may leave parts out."""

from __future__ import annotations

import copy
from typing import Any

INHERITED = ("serves", "chain", "limits")
"""Keys that must be in a file that extends nothing and is not abstract, and may be left out of the others."""
PART = "InPart"


def in_part(schema: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of whole rulesets, with a second one for those that have `extends` or `abstract`."""
    schema = copy.deepcopy(schema)
    definitions: dict[str, Any] = schema["$defs"]
    chain = schema["properties"]["chain"]["$ref"]
    sections = [part["$ref"] for part in definitions[_name(chain)]["properties"].values()]
    for ref in (chain, *sections):
        whole = definitions[_name(ref)]
        definitions[_name(ref) + PART] = {key: value for key, value in whole.items() if key != "required"}
    partial = definitions[_name(chain) + PART]
    partial["properties"] = {key: {"$ref": part["$ref"] + PART} for key, part in partial["properties"].items()}
    schema["properties"]["chain"] = {}
    schema["required"] = [key for key in schema["required"] if key not in INHERITED]
    schema["if"] = {"anyOf": [{"required": ["extends"]}, {"required": ["abstract"]}]}
    schema["then"] = {"properties": {"chain": {"$ref": chain + PART}}}
    schema["else"] = {"properties": {"chain": {"$ref": chain}}, "required": list(INHERITED)}
    return schema


def _name(ref: str) -> str:
    return ref.rpartition("/")[2]
