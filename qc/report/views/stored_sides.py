"""Sides whose numbers came from the store: on which day they were measured, in the words of every format."""

from __future__ import annotations

from collections.abc import Iterator

from qc.model.report import Run
from qc.text.numbers import listed
from qc.text.sanitize import shown

LONGEST = 20
"""Characters of a side's id."""


def measured_earlier(run: Run | None, side: str) -> str:
    """Say when a side was measured, if not in this run; empty if it was, or if the report leaves its run out."""
    day = None if run is None else run.measured_on.get(side)
    if run is None or day is None:
        return ""
    partly = "partly " if run.sides.get(side) == "partly stored" else ""
    return f"{partly}measured on {day}, not measured again"


def measured_earlier_lines(run: Run | None) -> Iterator[str]:
    """Say it of all sides, those of one day in one line: "sides A and B measured on 2026-11-30, not measured again"."""
    by_words: dict[str, list[str]] = {}
    for side in () if run is None else run.measured_on:
        by_words.setdefault(measured_earlier(run, side), []).append(shown(side, LONGEST))
    for words, sides in by_words.items():
        yield f"side{'s' * (len(sides) > 1)} {listed(sides)} {words}"
