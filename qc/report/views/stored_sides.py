"""Sides with stored numbers: the day they were measured, in words."""

from __future__ import annotations

from collections.abc import Iterator

from qc.model.report import Run
from qc.text.numbers import listed
from qc.text.sanitize import shown

LONGEST = 20
"""Characters of a side's id."""


def measured_earlier(run: Run | None, side: str) -> str:
    """Write the day a side was measured; empty if it was in this run, or if the report has no run."""
    day = None if run is None else run.measured_on.get(side)
    if run is None or day is None:
        return ""
    partly = "partly " if run.sides.get(side) == "partly stored" else ""
    return f"{partly}measured on {day}, not measured again"


def measured_earlier_lines(run: Run | None) -> Iterator[str]:
    """Yield a line for each such day: "sides A and B measured on 2026-11-30, not measured again"."""
    by_words: dict[str, list[str]] = {}
    for side in () if run is None else run.measured_on:
        by_words.setdefault(measured_earlier(run, side), []).append(shown(side, LONGEST))
    for words, sides in by_words.items():
        yield f"side{'s' * (len(sides) > 1)} {listed(sides)} {words}"
