"""The pictures of a report with the names of their files: by side, then by picture, whatever anybody calls a side."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from qc.plugin_api import Evidence, Report
from qc.report.html.drawn import Drawn, drawn
from qc.report.html.svg import Figure
from qc.report.html.told import FindingView, told

LONGEST = 40
"""Characters of a name that somebody else chose."""
SCALE, WIDE = 2.0, 1.5
"""Pixels to a unit, and of the pictures that are as wide as a page: fine enough for a sheet of paper."""


@dataclass(frozen=True)
class Picture:
    """A picture with its name."""

    name: str
    """of its files, without a suffix: a-z, 0-9, points, hyphens and underscores"""
    side: str
    shows: str
    figure: Figure
    found: tuple[FindingView, ...] = ()
    """the findings that it shows, the gravest first"""
    scale: float = SCALE

    @property
    def facts(self) -> dict[str, Any]:
        """What the index says of it."""
        return {
            "side": self.side,
            "shows": self.shows,
            "title": self.figure.title,
            "says": self.figure.says,
            "findings": [_finding(one) for one in self.found],
        }


def _finding(one: FindingView) -> dict[str, Any]:
    finding = one.found.finding
    return {
        "number": one.number,
        "check": finding.check,
        "outcome": one.word,
        "second": one.second,
        "message": finding.message,
        "fingerprint": finding.fingerprint,
    }


def pictures(report: Report, evidence: Evidence) -> Iterator[Picture]:
    """Give every picture of the page, side by side, each drawn when it is asked for."""
    every = told(report)
    names = side_names(side.id for side in report.sides)
    for number, (side, name) in enumerate(zip(report.sides, names, strict=True), start=1):
        marked = [one for one in every if one.side == side.id and one.second is not None]
        yield from _of_side(side.id, name, drawn(report, number, evidence, every), marked)


def _of_side(side: str, name: str, of: Drawn, marked: Sequence[FindingView]) -> Iterator[Picture]:
    if of.face is not None:
        yield Picture(f"{name}-disc", side, "the face of the disc", of.face, tuple(marked), WIDE)
    if of.timelines is not None:
        yield Picture(f"{name}-timelines", side, "the side along time", of.timelines, tuple(marked), WIDE)
    for index, place in enumerate(of.places, start=1):
        check = safe(place.found[0].found.finding.check if place.found else "", "place")
        view = f"{name}-view-{index:02d}-{check}"
        yield Picture(f"{view}-above", side, "the groove from above", place.above, place.found)
        yield Picture(f"{view}-section", side, "the groove in cross-section", place.section, place.found)
    if of.budget is not None:
        yield Picture(f"{name}-level-budget", side, "the level budget", of.budget, scale=WIDE)
    if of.spectrum is not None:
        yield Picture(f"{name}-spectrum", side, "the long-term spectrum", of.spectrum, scale=WIDE)


def side_names(sides: Iterable[str]) -> list[str]:
    """Give each side a name fit for a file, another one for each, whatever it is called."""
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
    """Make what somebody chose fit for a file on every system, and for a shell; `otherwise` where nothing is left."""
    kept = re.sub(r"[^a-z0-9.-]+", "_", name.lower())[:LONGEST].strip("_.-")
    return kept or otherwise
