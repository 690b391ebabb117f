"""The disc's face, to scale: each turn as grey as the land it leaves, with tracks, diameters and findings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from qc.groove.figures.curves import PITCH, RADIUS, WIDTH
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.discs import NOMINAL_MM
from qc.model.quantity import clock
from qc.model.report import Geometry, Report, SideReport
from qc.report.html.finding_views import FindingView
from qc.report.html.svg import Figure, element, group, num, path, text

Array = NDArray[np.float64]

LEAD_OUT_MM = 6.4
"""Pitch of the lead-out (D-8)."""
BOX, MARGIN, COLUMN = 620.0, 10.0, 330.0
"""Sizes in pixels: the square of the disc, the margin around it, the column of names to its right."""
SHADES = 64
"""Number of greys; adjacent turns of the same grey are drawn as one ring."""
ROW, LEAST_ROW = 16.0, 12.0
"""Height of a name in pixels, and the least height at which a line still leads to it."""


@dataclass(frozen=True)
class TurnRadii:
    """The side turn by turn: radii between turns in mm, (turns + 1,) from the rim inwards, and land share 0..1."""

    edges: Array
    land: Array

    @classmethod
    def of(cls, traces: Mapping[str, Array], geometry: Geometry) -> TurnRadii:
        """Sum pitch and width over each turn; the last may be a part of one."""
        radius = traces[RADIUS]
        starts = np.arange(0, len(radius), geometry.sectors_a_turn)
        pitch, width = (np.add.reduceat(traces[name], starts) for name in (PITCH, WIDTH))
        edges = np.concatenate([[geometry.outer_diameter_mm / 2.0], radius[starts[1:] - 1], radius[-1:]])
        return cls(edges, np.clip(1.0 - width / np.maximum(pitch, 1e-9), 0.0, 1.0))


def face(
    name: str, report: Report, side: SideReport, traces: Mapping[str, Array], findings: Sequence[FindingView]
) -> Figure:  # fmt: skip
    """Draw the face of a side; the side has a geometry."""
    geometry = side.geometry
    assert geometry is not None  # each side with traces has one
    scale = _scale(geometry)
    centre = MARGIN + BOX / 2.0
    turns = TurnRadii.of(traces, geometry)
    disc = [
        element("circle", class_="disc", cx=centre, cy=centre, r=BOX / 2.0),
        group(_rings(turns, centre, scale)),
        *_run_out(geometry, centre, scale),
        element("circle", class_="label", cx=centre, cy=centre, r=0.9 * scale * geometry.finishing_diameter_mm / 2.0),
        element("circle", class_="hole", cx=centre, cy=centre, r=scale * 3.6),
        *_spots(findings, side, geometry, traces[RADIUS], centre, scale),
        element("circle", class_="here", cx=centre, cy=centre, r=0.0),
        element("circle", class_="stylus", cx=centre, cy=centre, r=0.0),
    ]  # fmt: skip
    names = _names(report, geometry, centre, scale)
    last = f"{geometry.last_diameter_mm:.1f} mm"
    return Figure(
        name, f"The face of side {side.id}, to scale",
        f"{len(turns.land)} turns from {geometry.outer_diameter_mm:.1f} mm to {last}; a turn is lighter where "
        f"it leaves more land. {_marked(findings)}.",
        2.0 * MARGIN + BOX + COLUMN, 2.0 * MARGIN + BOX, Markup("").join([*disc, *names, *_key(centre)]), "face",
    )  # fmt: skip


def _marked(findings: Sequence[FindingView]) -> str:
    count = sum(finding.second is not None for finding in findings)
    return "1 finding is marked" if count == 1 else f"{count or 'no'} findings are marked".capitalize()


def data(side: SideReport, traces: Mapping[str, Array]) -> dict[str, Any]:
    """Return the data from which the page's script reads time, radius (mm) and pitch (um) under a pointer."""
    geometry = side.geometry
    assert geometry is not None  # each side with traces has one
    turn, radius, pitch = geometry.sectors_a_turn, traces[RADIUS], traces[PITCH]
    starts = np.arange(0, len(radius), turn)
    return {
        "centre": MARGIN + BOX / 2.0, "scale": _scale(geometry), "turn_s": turn / SECTORS_A_SECOND,
        "start_s": geometry.span_start_s, "end_s": geometry.span_end_s, "outer": geometry.outer_diameter_mm / 2.0,
        "radius": [round(float(value), 3) for value in radius[np.minimum(starts + turn, len(radius)) - 1]],
        "pitch": [round(float(value), 1) for value in np.maximum.reduceat(pitch, starts)],
    }  # fmt: skip


def _scale(geometry: Geometry) -> float:
    """Pixels a mm."""
    return BOX / max(NOMINAL_MM.get(geometry.size, 0.0), geometry.outer_diameter_mm + 4.0)


def _rings(turns: TurnRadii, centre: float, scale: float) -> Iterator[Markup]:
    """Draw the turns from the rim inwards, each as a filled circle on the one before, so that no seam shows."""
    shades = np.round(turns.land * (SHADES - 1)).astype(int)
    for start in [0, *(np.flatnonzero(np.diff(shades)) + 1)]:
        grey = _grey(shades[start] / (SHADES - 1))
        yield element("circle", cx=centre, cy=centre, r=num(turns.edges[start] * scale, 3), fill=grey)
    yield element("circle", class_="disc", cx=centre, cy=centre, r=num(turns.edges[-1] * scale, 3))


def _grey(share: float) -> str:
    """Return the sRGB grey of a surface of which `share` (0..1) is white and the rest black."""
    value = 12.92 * share if share <= 0.0031308 else 1.055 * share ** (1.0 / 2.4) - 0.055  # sRGB, IEC 61966-2-1
    return f"#{round(255.0 * value):02x}" + f"{round(255.0 * value):02x}" * 2


def _run_out(geometry: Geometry, centre: float, scale: float) -> Iterator[Markup]:
    """Draw the lead-out spiral to the finishing groove, and the diameters that bound the recording."""
    start, end = geometry.last_diameter_mm / 2.0, geometry.finishing_diameter_mm / 2.0
    turns = max(0.0, (start - end) / LEAD_OUT_MM)
    sectors = geometry.span_end_s - geometry.span_start_s
    begin = (sectors * SECTORS_A_SECOND / geometry.sectors_a_turn) % 1.0
    steps = np.linspace(0.0, turns, max(2, math.ceil(48 * turns)))
    points = [_at(centre, scale, start - LEAD_OUT_MM * step, begin + step) for step in steps]
    yield element("path", class_="lead-out", d=path(points))
    yield element("circle", class_="finishing", cx=centre, cy=centre, r=end * scale)
    yield element("circle", class_="bound", cx=centre, cy=centre, r=geometry.outer_diameter_mm / 2.0 * scale)


def _at(centre: float, scale: float, radius: float, turns: float) -> tuple[float, float]:
    """Place a radius after so many turns from the top: the disc turns clockwise, so the groove goes the other way."""
    angle = 2.0 * math.pi * turns
    return centre - scale * radius * math.sin(angle), centre - scale * radius * math.cos(angle)


def _spots(
    findings: Sequence[FindingView], side: SideReport, geometry: Geometry, radius: Array, centre: float, scale: float
) -> Iterator[Markup]:  # fmt: skip
    """Mark findings at their places, the most serious on top."""
    for finding in reversed(findings):
        if finding.second is None or finding.side != side.id:
            continue
        sector = round((finding.second - geometry.span_start_s) * SECTORS_A_SECOND)
        sector = min(max(sector, 0), len(radius) - 1)  # those in the silence around it go to its ends
        yield _spot(finding, *_at(centre, scale, float(radius[sector]), sector / geometry.sectors_a_turn))


def _spot(finding: FindingView, x: float, y: float) -> Markup:
    title = element("title", f"{finding.word} {finding.at}: {finding.measured.finding.message}")
    mark = spot(finding.word, x, y)
    return element(
        "a", title, mark, href=f"#{finding.anchor}", tabindex="-1", aria_label=f"{finding.word} {finding.at}"
    )


def spot(word: str, x: float, y: float, size: float = 5.5) -> Markup:
    """Draw the sign of a finding: a filled square for fail, an open triangle for warn, a circle where it is waived."""
    if word == "fail":
        return element("rect", class_="spot-fail", x=x - size, y=y - size, width=2.0 * size, height=2.0 * size)
    if word == "warn":
        corners = [(x, y - size), (x + size, y + 0.8 * size), (x - size, y + 0.8 * size)]
        return element("path", class_="spot-warn", d=path(corners, close=True))
    return element("circle", class_="spot-waived", cx=x, cy=y, r=0.8 * size)


# -- next to the disc -------------------------------------------------------------------------------------------


def _names(report: Report, geometry: Geometry, centre: float, scale: float) -> Iterator[Markup]:
    """Write tracks and diameters next to the upper half of the disc, at the height of their radius."""
    left = 2.0 * MARGIN + BOX
    labels = [
        (track.start_radius_mm, track.end_radius_mm, f"{track.number}  {track.title}"[:44], "strong")
        for track in geometry.tracks
    ]
    labels += [(radius, radius, words, "dim") for radius, words in _diameters(report, geometry)]
    labels.sort(key=lambda label: -(label[0] + label[1]))
    low, row = -math.inf, min(ROW, (centre + 140.0) / len(labels))
    for start, end, words, kind in labels:
        first, last = centre - start * scale, centre - end * scale
        at = max((first + last) / 2.0 + 4.5, low + row)
        low = at
        if first != last:
            yield element(
                "path", class_="axis", d=path([(left + 4, first), (left, first), (left, last), (left + 4, last)])
            )
        if row > LEAST_ROW:
            yield element("path", class_="rule", d=path([(left + 4, (first + last) / 2.0), (left + 22, at - 4.5)]))
        yield text(left + 26, at, words, class_=kind)


def _diameters(report: Report, geometry: Geometry) -> Iterator[tuple[float, str]]:
    yield geometry.outer_diameter_mm / 2.0, f"{geometry.outer_diameter_mm:.1f} mm, the recording begins"
    yield geometry.last_diameter_mm / 2.0, f"{geometry.last_diameter_mm:.1f} mm, it ends {clock(geometry.span_end_s)}"
    for limit in report.ruleset.limits.values():
        if limit.measure == "groove.last_diameter":
            for word, bound in (("warned below", limit.warn), ("failed below", limit.fail)):
                if bound is not None:
                    yield bound / 2.0, f"{bound:g} mm, {word}"
    yield geometry.finishing_diameter_mm / 2.0, f"{geometry.finishing_diameter_mm:.1f} mm, finishing groove"


def _key(centre: float) -> Iterator[Markup]:
    """Draw the key of greys and signs."""
    left, top = 2.0 * MARGIN + BOX, centre + 190.0
    yield text(left, top - 8, "land, part of the surface of a turn", class_="dim")
    for step in range(10):
        yield element("rect", x=left + 22.0 * step, y=top, width=22.5, height=14.0, fill=_grey(step / 9.0))
    yield text(left, top + 30, "0", class_="dim")
    yield text(left + 220, top + 30, "100 %", class_="dim end")
    for row, word in enumerate(("fail", "warn", "waived")):
        yield spot(word, left + 7, top + 52 + 20 * row)
        yield text(left + 24, top + 57 + 20 * row, word)
