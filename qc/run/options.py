"""Options of the commands that have more than those of a check."""

from __future__ import annotations

from dataclasses import dataclass

from qc.judge.prepare import Options


@dataclass(frozen=True)
class PlanOptions(Options):
    """Options of a plan: a disc other than the delivery's, "12in-45", breaks into sides, other running orders."""

    disc: str | None = None
    split: bool = False
    most: int | None = None
    """most sides to break into; by default those of two discs, or as many as were delivered"""
    reorder: bool = False
