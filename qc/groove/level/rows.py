"""The part of a ruleset that the level search takes: limits as plain rows, the policy for the recommended level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from qc.model.quantity import Op


@dataclass(frozen=True, slots=True)
class LevelRow:
    """One limit on one published measurement; `warn` and `fail` in `unit`."""

    check: str
    key: str
    measure: str
    op: Op
    warn: float | None
    fail: float | None
    unit: str
    sets_level: str | None

    @property
    def setting(self) -> float | None:
        """Return the value that sets the level; None for a limit that does not."""
        return {"warn": self.warn, "fail": self.fail, None: None}[self.sets_level]

    @property
    def name(self) -> str:
        """Return the name that reports use, CHECK/LIMIT."""
        return f"{self.check}/{self.key.partition('.')[0]}"


@dataclass(frozen=True, slots=True)
class LevelPolicy:
    """The policy for the recommended level: the edge, the highest that the limits allow, or a margin in dB below it."""

    value: Literal["edge", "margin"] = "edge"
    margin: float = 0.0

    @property
    def tenths(self) -> int:
        """Tenths of a dB from the edge down to the recommended level, never fewer than the margin asks for."""
        return 0 if self.value == "edge" else math.ceil(10.0 * self.margin - 1e-9)


EDGE = LevelPolicy()
"""The policy of a ruleset that states none."""
