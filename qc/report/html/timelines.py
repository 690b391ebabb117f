"""The timelines: panels on one time axis with tracks and findings, as a still picture and as data for the script."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from qc.model.quantity import clock, minutes
from qc.model.report import Geometry, SideReport
from qc.report.html.face import spot
from qc.report.html.finding_views import FindingView
from qc.report.html.packed import packed, thinned
from qc.report.html.panels import Panel, Series
from qc.report.html.svg import Figure, element, path, text

WIDTH, LEFT, RIGHT = 1200.0, 64.0, 12.0
HEAD, TITLE, HEIGHT, GAP, FOOT = 46.0, 18.0, 84.0, 10.0, 26.0
COLUMNS = 1100
"""Columns of a curve; each shows the worst value of its time."""
STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600)
"""Seconds between the numbers of the time axis."""


def timelines(name: str, side: SideReport, panels: Sequence[Panel], findings: Sequence[FindingView]) -> Figure:
    """Draw the panels of a side; the side has a geometry."""
    geometry = side.geometry
    assert geometry is not None  # each side with panels has one
    start, end = geometry.span_start_s, max(geometry.span_end_s, geometry.span_start_s + 1.0)
    height = HEAD + len(panels) * (TITLE + HEIGHT + GAP) + FOOT

    def across(second: float) -> float:
        return LEFT + (second - start) / (end - start) * (WIDTH - LEFT - RIGHT)

    parts = [*_tracks(geometry, across, height), *_signs(findings, side.id, across)]
    for index, panel in enumerate(panels):
        top = HEAD + index * (TITLE + HEIGHT + GAP) + TITLE
        parts += _panel(panel, top, across, f"{name}-{index}")
    parts += _axis(start, end, across, height - FOOT + 4.0)
    titles = "; ".join(panel.title for panel in panels)
    return Figure(
        name, f"Side {side.id} along time", f"From {clock(start)} to {clock(end)}: {titles}.",
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


def _signs(findings: Sequence[FindingView], side: str, across: Any) -> Iterator[Markup]:
    for finding in reversed(findings):
        if finding.second is not None and finding.side == side:
            title = element("title", f"{finding.word} {finding.at}: {finding.measured.finding.message}")
            sign = spot(finding.word, across(finding.second), 30.0, 4.0)
            yield element(
                "a", title, sign, href=f"#{finding.anchor}", tabindex="-1", aria_label=f"{finding.word} {finding.at}"
            )


def _panel(panel: Panel, top: float, across: Any, clip: str) -> Iterator[Markup]:
    def up(value: float) -> float:
        return top + HEIGHT * (1.0 - (value - panel.low) / (panel.high - panel.low))

    unit = "" if panel.unit == "1" else f", {panel.unit}"
    beyond = [_beyond(series, panel) or _outside(series, across) for series in panel.series]
    if any(beyond):
        window = element("rect", x=LEFT, y=top, width=WIDTH - LEFT - RIGHT, height=HEIGHT)
        yield element("clipPath", window, id=clip)
    yield text(LEFT, top - 5, f"{panel.title}{unit}", class_="strong")
    yield from _names(panel, top)
    for value in ticks(panel.low, panel.high):
        yield element("path", class_="rule", d=path([(LEFT, up(value)), (WIDTH - RIGHT, up(value))]))
        yield text(LEFT - 6, up(value) + 4, f"{value:g}", class_="dim end")
    for limit in panel.limits:
        line = path([(LEFT, up(limit.value)), (WIDTH - RIGHT, up(limit.value))])
        yield element("path", element("title", limit.words), class_=f"bound-{limit.word}", d=line)
    for series, kind, far in zip(panel.series, ("one", "two"), beyond, strict=False):
        cut = f"url(#{clip})" if far else None  # what is clipped takes longer to draw
        yield element("path", class_=kind, d=_line(series, across, up), clip_path=cut)


def _beyond(series: Series, panel: Panel) -> bool:
    """Whether a curve leaves its panel."""
    return not panel.low <= np.nanmin(series.values) <= np.nanmax(series.values) <= panel.high


def _outside(series: Series, across: Any) -> bool:
    """Whether a curve begins before the time axis or ends after it."""
    last = series.start_s + (len(series.values) - 1) * series.step_s
    return bool(across(series.start_s) < LEFT or across(last) > WIDTH - RIGHT)


def _names(panel: Panel, top: float) -> Iterator[Markup]:
    """Name the curves and the limits at the right end of the title's line, each before its line, whatever the font."""
    named = [(series.label, "end", kind) for series, kind in zip(panel.series, ("one", "two"), strict=False)]
    named += [(limit.words, "dim end", f"bound-{limit.word}") for limit in panel.limits]
    right = WIDTH - RIGHT
    for words, dim, kind in reversed(named):
        yield element("path", class_=kind, d=path([(right - 22, top - 9), (right, top - 9)]))
        yield text(right - 27, top - 5, words, class_=dim)
        right -= 7.7 * len(words) + 44


def _line(series: Series, across: Any, up: Any) -> str:
    """Return a curve as path data, interrupted where it has no values."""
    values, each = thinned(series.values, COLUMNS, least=series.least)
    seconds = series.start_s + series.step_s * (each * np.arange(len(values)) + (each - 1) / 2.0)
    parts: list[str] = []
    present = ~np.isnan(values)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], present, [False]]).astype(int)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        points = [
            (across(float(s)), up(float(v))) for s, v in zip(seconds[first:last], values[first:last], strict=True)
        ]
        begin = path(points[:1])
        parts.append(begin.replace("m", "M", 1) + path(points)[len(begin) :])
    return "".join(parts)


def ticks(low: float, high: float, about: int = 3) -> list[float]:
    """Return the multiples of a round step between `low` and `high`, about `about` of them."""
    rough = (high - low) / about
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(unit * factor for factor in (1, 2, 5, 10) if unit * factor >= rough)
    return [round(index * step, 10) for index in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _axis(start: float, end: float, across: Any, top: float) -> Iterator[Markup]:
    step = next((seconds for seconds in STEPS if (end - start) / seconds <= 14), 1200)
    for second in range(math.ceil(start / step) * step, math.floor(end) + 1, step):
        yield element("path", class_="axis", d=path([(across(second), top - 4), (across(second), top)]))
        kind = "end dim" if across(second) > WIDTH - RIGHT - 20.0 else "middle dim"
        yield text(across(second), top + 14, minutes(second), class_=kind)


def data(side: SideReport, panels: Sequence[Panel], findings: Sequence[FindingView]) -> dict[str, Any]:
    """Return the data from which the page's script draws the panels."""
    geometry = side.geometry
    assert geometry is not None  # each side with panels has one
    return {
        "start_s": geometry.span_start_s,
        "end_s": geometry.span_end_s,
        "tracks": [
            {"number": track.number, "title": track.title, "start_s": track.start_s, "end_s": track.end_s}
            for track in geometry.tracks
        ],
        "findings": [
            {
                "second": finding.second,
                "word": finding.word,
                "anchor": finding.anchor,
                "message": finding.measured.finding.message,
            }
            for finding in findings
            if finding.second is not None and finding.side == side.id
        ],
        "panels": [
            {
                "title": panel.title,
                "unit": "" if panel.unit == "1" else panel.unit,
                "low": panel.low,
                "high": panel.high,
                "limits": [{"value": limit.value, "word": limit.word, "words": limit.words} for limit in panel.limits],
                "series": [
                    {
                        "label": series.label,
                        "least": series.least,
                        **packed(series.values, series.start_s, series.step_s, least=series.least),
                    }
                    for series in panel.series
                ],
            }
            for panel in panels
        ],
    }
