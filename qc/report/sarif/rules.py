"""What a SARIF log explains: every check as a rule, every cited source as a taxon."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qc.plugin_api import CheckWords, Cited
from qc.report.sarif.results import Row, plain, said


def rules(ids: Sequence[str], words: Mapping[str, CheckWords]) -> list[Row]:
    """Describe the checks in the order of their ids; one that nobody knows the words of has its id alone."""
    return [_rule(words[check_id]) if check_id in words else {"id": check_id} for check_id in ids]


def _rule(words: CheckWords) -> Row:
    blind = f" What it cannot see: {words.blind_to}" if words.blind_to else ""
    return {
        "id": words.id,
        "shortDescription": {"text": said(words.title)},
        "fullDescription": {"text": said(words.why)},
        "help": {"text": said(f"{words.remedy} How it is measured: {words.how}{blind}")},
    }


def taxonomy(keys: Sequence[str], known: Mapping[str, Cited]) -> Row:
    """Tell of the sources that limits are cited from; a house's own words are their own title."""
    return {
        "name": "sources",
        "fullName": "Sources of the limits that were not kept",
        "isComprehensive": False,
        "taxa": [_taxon(key, known.get(key)) for key in keys],
    }


def _taxon(key: str, source: Cited | None) -> Row:
    if source is None:
        return {"id": plain(key)}
    return {
        "id": plain(key),
        "shortDescription": {"text": said(source.title)},
        "fullDescription": {"text": said(source.figure)},
        "properties": {"confidence": source.confidence},
    }
