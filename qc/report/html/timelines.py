"""The timelines: panels on one time axis with tracks and findings, as a picture that stands still, and as data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from qc.model.quantity import clock, minutes
from qc.model.report import Geometry, SideReport
from qc.report.html.face import spot
from qc.report.html.packed import packed, thinned
from qc.report.html.panels import Panel, Series
from qc.report.html.svg import Figure, element, path, text
from qc.report.html.told import FindingView

WIDTH, LEFT, RIGHT = 1200.0, 64.0, 12.0
HEAD, TITLE, HEIGHT, GAP, FOOT = 46.0, 18.0, 84.0, 10.0, 26.0
COLUMNS = 1100
"""Columns that a curve is drawn in; each shows the worst of its time."""
STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600)
"""Seconds between the numbers of the time axis."""


def timelines(name: str, side: SideReport, found: Sequence[Panel], told: Sequence[FindingView]) -> Figure:
    """Draw the panels of a side that was worked out."""
    geometry = side.geometry
    assert geometry is not None  # whoever has panels has it
    start, end = geometry.span_start_s, max(geometry.span_end_s, geometry.span_start_s + 1.0)
    height = HEAD + len(found) * (TITLE + HEIGHT + GAP) + FOOT

    def across(second: float) -> float:
        return LEFT + (second - start) / (end - start) * (WIDTH - LEFT - RIGHT)

    parts = [*_tracks(geometry, across, height), *_signs(told, side.id, across)]
    for index, panel in enumerate(found):
        top = HEAD + index * (TITLE + HEIGHT + GAP) + TITLE
        parts += _panel(panel, top, across, f"{name}-{index}")
    parts += _axis(start, end, across, height - FOOT + 4.0)
    says = "; ".join(panel.title for panel in found)
    return Figure(
        name, f"Side {side.id} along time", f"From {clock(start)} to {clock(end)}: {says}.",
        WIDTH, height, Markup("").join(parts), "timelines",
    )  # fmt: skip


def _tracks(geometry: Geometry, across: Any, height: float) -> Iterator[Markup]:
    for index, track in enumerate(geometry.tracks):
        left, right = across(track.start_s), across(track.end_s)
        if index % 2 == 0:
            yield element("rect", class_="area", x=left, y=0.0, width=max(0.0, right - left), height=height - FOOT)
        room = int((right - left) / 7.5)
        words = f"{track.number}  {track.title}"
        yield text(left + 4, 14, words if len(words) <= room else str(track.number) if room else "", class_="strong")


def _signs(told: Sequence[FindingView], side: str, across: Any) -> Iterator[Markup]:
    for one in reversed(told):
        if one.second is not None and one.side == side:
            title = element("title", f"{one.word} {one.at}: {one.found.finding.message}")
            sign = spot(one.word, across(one.second), 30.0, 4.0)
            yield element("a", title, sign, href=f"#{one.anchor}", tabindex="-1", aria_label=f"{one.word} {one.at}")


def _panel(panel: Panel, top: float, across: Any, clip: str) -> Iterator[Markup]:
    def up(value: float) -> float:
        return top + HEIGHT * (1.0 - (value - panel.low) / (panel.high - panel.low))

    unit = "" if panel.unit == "1" else f", {panel.unit}"
    beyond = [_beyond(series, panel) for series in panel.series]
    if any(beyond):
        window = element("rect", x=LEFT, y=top, width=WIDTH - LEFT - RIGHT, height=HEIGHT)
        yield element("clipPath", window, id=clip)
    yield text(LEFT, top - 5, f"{panel.title}{unit}", class_="strong")
    yield from _names(panel, top)
    for value in ticks(panel.low, panel.high):
        yield element("path", class_="rule", d=path([(LEFT, up(value)), (WIDTH - RIGHT, up(value))]))
        yield text(LEFT - 6, up(value) + 4, f"{value:g}", class_="dim end")
    for bound in panel.bounds:
        line = path([(LEFT, up(bound.value)), (WIDTH - RIGHT, up(bound.value))])
        yield element("path", element("title", bound.says), class_=f"bound-{bound.word}", d=line)
    for series, kind, far in zip(panel.series, ("one", "two"), beyond, strict=False):
        cut = f"url(#{clip})" if far else None  # what is clipped takes longer to draw
        yield element("path", class_=kind, d=_line(series, across, up), clip_path=cut)


def _beyond(series: Series, panel: Panel) -> bool:
    """Whether a curve leaves its panel."""
    return not panel.low <= np.nanmin(series.values) <= np.nanmax(series.values) <= panel.high


def _names(panel: Panel, top: float) -> Iterator[Markup]:
    """Name the curves and the limits at the right end of the title's line, each before its line, whatever the font."""
    named = [(one.label, "end", kind) for one, kind in zip(panel.series, ("one", "two"), strict=False)]
    named += [(one.says, "dim end", f"bound-{one.word}") for one in panel.bounds]
    right = WIDTH - RIGHT
    for words, dim, kind in reversed(named):
        yield element("path", class_=kind, d=path([(right - 22, top - 9), (right, top - 9)]))
        yield text(right - 27, top - 5, words, class_=dim)
        right -= 7.7 * len(words) + 44


def _line(series: Series, across: Any, up: Any) -> str:
    """Give a curve as path data, broken where there is nothing."""
    kept, each = thinned(series.values, COLUMNS, least=series.least)
    seconds = series.start_s + series.step_s * (each * np.arange(len(kept)) + (each - 1) / 2.0)
    parts: list[str] = []
    there = ~np.isnan(kept)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(int)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        points = [(across(float(s)), up(float(v))) for s, v in zip(seconds[first:last], kept[first:last], strict=True)]
        begin = path(points[:1])
        parts.append(begin.replace("m", "M", 1) + path(points)[len(begin) :])
    return "".join(parts)


def ticks(low: float, high: float, about: int = 3) -> list[float]:
    """Give round values between two."""
    rough = (high - low) / about
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(unit * one for one in (1, 2, 5, 10) if unit * one >= rough)
    return [round(index * step, 10) for index in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _axis(start: float, end: float, across: Any, top: float) -> Iterator[Markup]:
    step = next((one for one in STEPS if (end - start) / one <= 14), 1200)
    for second in range(math.ceil(start / step) * step, math.floor(end) + 1, step):
        yield element("path", class_="axis", d=path([(across(second), top - 4), (across(second), top)]))
        kind = "end dim" if across(second) > WIDTH - RIGHT - 20.0 else "middle dim"
        yield text(across(second), top + 14, minutes(second), class_=kind)


def data(side: SideReport, found: Sequence[Panel], told: Sequence[FindingView]) -> dict[str, Any]:
    """Give what the page's script draws the panels from."""
    geometry = side.geometry
    assert geometry is not None  # whoever has panels has it
    return {
        "start_s": geometry.span_start_s,
        "end_s": geometry.span_end_s,
        "tracks": [
            {"number": track.number, "title": track.title, "start_s": track.start_s, "end_s": track.end_s}
            for track in geometry.tracks
        ],
        "findings": [
            {"second": one.second, "word": one.word, "anchor": one.anchor, "says": one.found.finding.message}
            for one in told
            if one.second is not None and one.side == side.id
        ],
        "panels": [
            {
                "title": panel.title,
                "unit": "" if panel.unit == "1" else panel.unit,
                "low": panel.low,
                "high": panel.high,
                "bounds": [{"value": b.value, "word": b.word, "says": b.says} for b in panel.bounds],
                "series": [
                    {
                        "label": one.label,
                        "least": one.least,
                        **packed(one.values, one.start_s, one.step_s, least=one.least),
                    }
                    for one in panel.series
                ],
            }
            for panel in found
        ],
    }
