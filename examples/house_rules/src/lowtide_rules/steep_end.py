"""The groove of the last minute, where a side is hardest to play: how steep it is, turn by turn.

The number is the greatest slope in the last 60 s of programme. Those seconds are the same at every level, and each of
their slopes rises with it; so the number never gets better as the level rises, and a limit on it may set the level.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from qc import (
    At,
    Chain,
    Curve,
    Excerpt,
    Finding,
    Groove,
    GrooveDerived,
    Judged,
    Limit,
    LimitCheck,
    Measurements,
    Model,
    Quantity,
    Remedy,
)

LAST_S = 60.0
"""seconds of programme at the end of a side that count"""


class Steepness(NamedTuple):
    """The slopes of a side."""

    greatest: float
    """lateral slope over what the cutter allows, in the last minute"""
    at: At
    by_turn: NDArray[np.float64]
    """the greatest of each turn, (turns,)"""
    start_s: float
    """middle of the first turn, in seconds of the file"""
    turn_s: float
    """seconds of a turn"""


@dataclass(frozen=True)
class EndSlope(GrooveDerived[Steepness | None]):
    """The steepest groove in the last minute; None for a side without programme."""

    id: ClassVar[str] = "lowtide.end-slope"
    publishes: ClassVar[Mapping[str, str]] = {"lowtide.end_slope": "1"}
    meanings: ClassVar[Mapping[str, str]] = {
        "lowtide.end_slope": "The greatest lateral slope in the last minute, over what the cutter's back edges allow."
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003 - the groove has all of it
        """Build it."""
        return cls()

    def evaluate(self, groove: Groove, results: Measurements) -> Steepness | None:  # noqa: ARG002
        """Find the steepest sector of the last minute, and the steepest of every turn."""
        played = np.flatnonzero(groove.programme)
        if not played.size:
            return None
        end = int(played[-1]) + 1
        start = int(np.searchsorted(groove.time_s, groove.time_s[end - 1] - LAST_S))
        steepest = start + int(groove.lateral_slope[start:end].argmax())
        by_turn = np.array([turn.lateral_slope.max() for turn in groove.by_turn()])
        turn_s = groove.chain.disc.sectors_a_turn / 75.0
        greatest = float(groove.lateral_slope[steepest])
        return Steepness(greatest, groove.at(steepest), by_turn, float(groove.time_s[0]) + turn_s / 2.0, turn_s)

    def publish(self, result: Steepness | None) -> Mapping[str, Quantity]:
        """Give the slope and its place; a side without programme has none."""
        return {} if result is None else {"lowtide.end_slope": Quantity(value=result.greatest, unit="1", at=result.at)}

    def curves(self, result: Steepness | None) -> Mapping[str, Curve]:
        """Give the steepest of every turn along the side, under the name of the number, so that its limits fit."""
        if result is None:
            return {}
        return {"lowtide.end_slope": Curve(result.by_turn, "1", result.start_s, result.turn_s)}


class EndLimits(Model):
    """The limits, in parts of what the cutter allows."""

    most: Limit


class EndTooSteep(LimitCheck[EndLimits]):
    """The groove of the last minute is steeper than this house wants it near the label."""

    id = "lowtide.end-too-steep"
    title = "The last minute is cut too steep"
    why = "A pickup that has aligned itself for the outer turns mistracks steep grooves near the label first."
    how = "The greatest lateral slope in the last 60 s of programme, over what the cutter's back edges allow."
    remedy = "Cut the side at a lower level, or end it further out."
    blind_to = "Steep turns before the last minute, which the limits of the ruleset judge."
    needs = (EndSlope,)
    Limits = EndLimits
    judges: ClassVar[Mapping[str, Judged]] = {"most": Judged("lowtide.end_slope", "<=", "the slope near the label")}

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """State the highest cut level at which the limit holds."""
        level = look.level_for(finding)
        if level.bound is not None:  # it holds at no level that is tried
            return finding
        says = f"Cut the side at {level} or lower."
        remedy = Remedy(kind="lower-level", says=says, numbers={"level": level})
        return finding.model_copy(update={"remedy": f"{says} {finding.remedy}", "remedies": (remedy,)})
