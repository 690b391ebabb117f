"""A limit as the groove's level search sees it: a plain row, without the check it belongs to."""

from __future__ import annotations

from dataclasses import dataclass

from qc.quantity import Op


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
        """Give the value that sets the level; None for a limit that does not."""
        return {"warn": self.warn, "fail": self.fail, None: None}[self.sets_level]

    @property
    def name(self) -> str:
        """Give the name that reports use, CHECK/LIMIT."""
        return f"{self.check}/{self.key.partition('.')[0]}"
