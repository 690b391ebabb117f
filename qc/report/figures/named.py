"""The pictures of a report with the names of their files: by side, then by picture; a side may have any id."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from qc.plugin_base import Evidence, Report
from qc.report.html.finding_views import FindingView, finding_views
from qc.report.html.side_pictures import SidePictures, draw_side
from qc.report.html.svg import Figure

LONGEST = 40
"""Characters of a side id or check id in a file name, at the most."""
SCALE, WIDE = 2.0, 1.5
"""Pixels a unit, for most pictures and for those as wide as a page: fine enough for print."""


@dataclass(frozen=True)
class Picture:
    """A picture with the name of its files."""

    name: str
    """of its files, without a suffix: a-z, 0-9, points, hyphens and underscores"""
    side: str
    shows: str
    figure: Figure
    findings: tuple[FindingView, ...] = ()
    """the findings that it shows, the most serious first"""
    scale: float = SCALE

    @property
    def facts(self) -> dict[str, Any]:
        """Its entry in the index."""
        return {
            "side": self.side,
            "shows": self.shows,
            "title": self.figure.title,
            "says": self.figure.description,
            "findings": [_finding(view) for view in self.findings],
        }


def _finding(view: FindingView) -> dict[str, Any]:
    finding = view.measured.finding
    return {
        "number": view.number,
        "check": finding.check,
        "outcome": view.word,
        "second": view.second,
        "message": finding.message,
        "fingerprint": finding.fingerprint,
    }


def pictures(report: Report, evidence: Evidence) -> Iterator[Picture]:
    """Yield all pictures of the page, side by side; those of a side are drawn when the first is requested."""
    findings = finding_views(report)
    names = side_names(side.id for side in report.sides)
    for number, (side, name) in enumerate(zip(report.sides, names, strict=True), start=1):
        marked = [finding for finding in findings if finding.side == side.id and finding.second is not None]
        yield from _of_side(side.id, name, draw_side(report, number, evidence, findings), marked)


def _of_side(side: str, name: str, drawn: SidePictures, marked: Sequence[FindingView]) -> Iterator[Picture]:
    if drawn.face is not None:
        yield Picture(f"{name}-disc", side, "the face of the disc", drawn.face, tuple(marked), WIDE)
    if drawn.timelines is not None:
        yield Picture(f"{name}-timelines", side, "the side along time", drawn.timelines, tuple(marked), WIDE)
    for index, place in enumerate(drawn.places, start=1):
        check = safe(place.findings[0].measured.finding.check if place.findings else "", "place")
        view = f"{name}-view-{index:02d}-{check}"
        yield Picture(f"{view}-above", side, "the groove from above", place.above, place.findings)
        yield Picture(f"{view}-section", side, "the groove in cross-section", place.section, place.findings)
    if drawn.budget is not None:
        yield Picture(f"{name}-level-budget", side, "the level budget", drawn.budget, scale=WIDE)
    if drawn.spectrum is not None:
        yield Picture(f"{name}-spectrum", side, "the long-term spectrum", drawn.spectrum, scale=WIDE)


def side_names(sides: Iterable[str]) -> list[str]:
    """Return a file name for each side id, all different."""
    names: list[str] = []
    for side in sides:
        wanted = name = safe(side, "side").replace("-", "_").replace(".", "_")
        count = 1
        while name in names:
            count += 1
            name = f"{wanted}_{count}"
        names.append(name)
    return names


def safe(name: str, otherwise: str) -> str:
    """Reduce a name to characters that every file system and shell takes; `otherwise` where none remain."""
    kept = re.sub(r"[^a-z0-9.-]+", "_", name.lower())[:LONGEST].strip("_.-")
    return kept or otherwise
