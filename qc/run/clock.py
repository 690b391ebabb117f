"""Start time and duration of a run."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from qc.model.report import Origin, Run


@dataclass(frozen=True)
class Clock:
    """Start time of a run, for the report."""

    began: str
    """ISO 8601, UTC, to the second"""
    ticks: float

    @classmethod
    def started(cls) -> Clock:
        """Return a clock that starts now."""
        return cls(datetime.now(UTC).isoformat(timespec="seconds"), time.monotonic())

    def run(self, workers: int, origins: Mapping[str, Origin]) -> Run:
        """Return the facts of the run that ends now; `origins` maps each side to the origin of its measurements."""
        return Run.of(self.began, time.monotonic() - self.ticks, workers, origins)
