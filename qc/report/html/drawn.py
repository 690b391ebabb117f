"""All pictures of one side, and the data that the page's script works with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from qc.contract import Evidence, Report
from qc.report.html.svg import Figure
from qc.report.html.told import Told
from qc.report.model import SideReport


@dataclass(frozen=True)
class Drawn:
    """The pictures of a side; None where there is nothing to draw."""

    face: Figure | None = None
    timelines: Figure | None = None
    views: Sequence[Any] = ()
    views_left_out: int = 0
    budget: Figure | None = None
    spectrum: Figure | None = None
    data: dict[str, Any] = field(default_factory=dict)


def drawn(report: Report, side: SideReport, evidence: Evidence, every: Sequence[Told]) -> Drawn:
    """Draw a side."""
    return Drawn()
