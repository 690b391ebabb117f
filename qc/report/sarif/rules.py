"""The rules and the taxonomy of a SARIF log: a rule for each check, a taxon for each cited source."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qc.plugin_base import CheckWords, Cited
from qc.report.sarif.results import Row, message_text, plain


def rules(ids: Sequence[str], words: Mapping[str, CheckWords]) -> list[Row]:
    """Describe the checks in the order of `ids`; a check without words has only its id."""
    return [_rule(words[check_id]) if check_id in words else {"id": check_id} for check_id in ids]


def _rule(words: CheckWords) -> Row:
    blind = f" What it cannot see: {words.blind_to}" if words.blind_to else ""
    return {
        "id": words.id,
        "shortDescription": {"text": message_text(words.title)},
        "fullDescription": {"text": message_text(words.why)},
        "help": {"text": message_text(f"{words.remedy} How it is measured: {words.how}{blind}")},
    }


def taxonomy(keys: Sequence[str], catalogue: Mapping[str, Cited]) -> Row:
    """Describe the cited sources; a key that is not in the catalogue is its own title."""
    return {
        "name": "sources",
        "fullName": "Sources of the exceeded limits",
        "isComprehensive": False,
        "taxa": [_taxon(key, catalogue.get(key)) for key in keys],
    }


def _taxon(key: str, source: Cited | None) -> Row:
    if source is None:
        return {"id": plain(key)}
    return {
        "id": plain(key),
        "shortDescription": {"text": message_text(source.title)},
        "fullDescription": {"text": message_text(source.figure)},
        "properties": {"confidence": source.confidence},
    }
