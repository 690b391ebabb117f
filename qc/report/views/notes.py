"""Notes of checks, which are no findings: nothing has to be done about them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from qc.plugin_base import Report
from qc.text.numbers import listed

JUDGED = frozenset({"pass", "warn", "fail", "waived"})
"""Outcomes whose reason holds the notes of the check; that of any other outcome says why nothing was judged."""


class CheckNote(NamedTuple):
    """A note of a check, on all the sides that share its words."""

    check: str
    sides: tuple[str, ...]
    """ids of the sides; empty for a check of the whole delivery"""
    words: str

    @property
    def where(self) -> str:
        """The sides in words: "A and B", or "delivery"."""
        return listed(self.sides) if self.sides else "delivery"


def notes(report: Report) -> Sequence[CheckNote]:
    """Return the notes of all checks, in the order of the report, each once for the sides that share it."""
    sides: dict[tuple[str, str], list[str]] = {}
    for result in report.results:
        if result.reason and result.outcome in JUDGED:
            sides.setdefault((result.check, result.reason), []).extend([result.side] if result.side else [])
    return [CheckNote(check, tuple(on), words) for (check, words), on in sides.items()]
