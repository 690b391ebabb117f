"""The sender's statements about a side: inscription, preparation, source, approvals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from qc.model.quantity import show
from qc.text.sanitize import shown

LONGEST = 300
"""Characters of a statement."""


def declared_lines(declared: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield label and words of each statement that the delivery makes."""
    if declared.get("inscription"):
        yield "engrave", _said(declared["inscription"])
    if declared.get("prepared"):
        yield "prepared:", ", ".join(_said(step) for step in declared["prepared"])
    source = declared.get("source") or {}
    if words := source_words(source):
        yield "source:", words
    for approval in source.get("approvals", ()):
        yield "approved by", approval_words(approval)


def source_words(source: Mapping[str, Any]) -> str:
    """Describe what the audio was transferred from; empty without a statement."""
    parts = [_said(source[key]) for key in ("medium", "format", "equalisation") if source.get(key)]
    if source.get("speed") is not None:
        parts.append(_speed(source["speed"]))
    if source.get("generation") is not None:
        parts.append(f"generation {_said(source['generation'])}")
    if source.get("transferred_on"):
        parts.append(f"transferred on {_said(source['transferred_on'])}")
    return ", ".join(parts)


def approval_words(approval: Mapping[str, Any]) -> str:
    """Describe an approval: name, date, level and note."""
    words = f"{_said(approval.get('by', ''))} on {_said(approval.get('on', ''))}"
    level = approval.get("recommended_level")
    if level is not None:
        words += f", at {show(float(level), 'dB')}"
    return words + (f": {_said(approval['note'])}" if approval.get("note") else "")


def _speed(speed: Any) -> str:
    return f"{100.0 * speed:.4g} cm/s" if isinstance(speed, int | float) else _said(speed)


def _said(words: Any) -> str:
    return shown(" ".join(str(words).split()), LONGEST)
