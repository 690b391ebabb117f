"""Which curves the timelines hold, one panel below the other, and the limits that belong to each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.groove.figures.curves import DEMAND, PITCH, UNITS
from qc.groove.level.side_at_level import UNITS as WORKED
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.report import HeldLimit, Report
from qc.plugin_api import Curve
from qc.text.numbers import number

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Wanted:
    """A curve by name, how it is called, and whether the least values are the ones to see."""

    name: str
    label: str
    least: bool = False


@dataclass(frozen=True)
class Wish:
    """A panel as it is wanted: curves of one unit."""

    title: str
    curves: tuple[Wanted, ...]
    marks: bool = False
    """whether the marks between tracks, wider than all else, may go beyond the height"""


WISHES = (
    Wish("Pitch", (Wanted(PITCH, "given"), Wanted(DEMAND, "demanded")), marks=True),
    Wish("Land left between turns", (Wanted("groove.land_min", "land", least=True),), marks=True),
    Wish("Top width of the groove", (Wanted("groove.top_width_min", "least width", least=True),)),
    Wish("Depth of the groove", (Wanted("groove.depth_max", "greatest depth"),)),
    Wish(
        "Slope of the groove, 1 = the cutter's back edges touch",
        (Wanted("groove.lateral_slope_peak", "lateral"), Wanted("groove.vertical_slope_peak", "vertical")),
    ),
    Wish("Tracing ratio, 1 = the tip bridges the trough", (Wanted("groove.tracing_ratio_peak", "tip over curve"),)),
    Wish("High-frequency drive", (Wanted("groove.drive_1s", "over 1 s"),)),
    Wish("Loudness, 3 s", (Wanted("loudness.short_term", "short-term"),)),
    Wish("Correlation below 300 Hz, 10 s", (Wanted("stereo.low_correlation", "low correlation", least=True),)),
)


HEIGHTS = {"um": 20.0, "g": 20.0, "LUFS": 12.0, "1": 0.2}
"""What the height of a panel stands for at the least, by unit: a level line is no drama."""


@dataclass(frozen=True)
class Series:
    """One curve of a panel."""

    label: str
    values: Array
    start_s: float
    step_s: float
    least: bool


@dataclass(frozen=True)
class PanelLimit:
    """A limit as a level line of a panel."""

    value: float
    word: str
    """fail or warn: what lies beyond it"""
    says: str


@dataclass(frozen=True)
class Panel:
    """One panel: its curves share steps and unit."""

    title: str
    unit: str
    series: tuple[Series, ...]
    bounds: tuple[PanelLimit, ...]
    low: float
    high: float
    """what the height stands for"""


def panels(report: Report, traces: Mapping[str, Array], curves: Mapping[str, Curve], start_s: float) -> list[Panel]:
    """Give the panels that there is something to draw in; traces begin at `start_s` of the file."""
    known = {
        name: Curve(values, _unit(name), start_s + 0.5 / SECTORS_A_SECOND, 1.0 / SECTORS_A_SECOND)
        for name, values in traces.items()
    } | dict(curves)
    found = []
    for wish in WISHES:
        there = [(one, known[one.name]) for one in wish.curves if one.name in known and _says(known[one.name].values)]
        if there:
            series = tuple(Series(one.label, c.values, c.start_s, c.step_s, one.least) for one, c in there)
            bounds = list(dict.fromkeys(bound for one, _ in there for bound in _bounds(report, one)))
            found.append(_panel(wish, there[0][1].unit, series, bounds))
    return found


def _says(values: Array) -> bool:
    """Whether there is a line to draw."""
    return int(np.count_nonzero(~np.isnan(values))) > 1


def _unit(name: str) -> str:
    return UNITS.get(name) or WORKED.get(name, "1")


def _bounds(report: Report, one: Wanted) -> Iterator[PanelLimit]:
    """Give the limits on a curve."""
    for limit in report.ruleset.limits.values():
        if limit.measure == one.name:
            yield from _lines(limit)


def _lines(limit: HeldLimit) -> Iterator[PanelLimit]:
    for word, bound in (("fail", limit.fail), ("warn", limit.warn)):
        if bound is not None:
            beyond = ">" if limit.op == "<=" else "<"
            yield PanelLimit(bound, word, f"{word} {beyond} {number(limit.measure, bound, limit.unit)}")


def _panel(wish: Wish, unit: str, series: tuple[Series, ...], bounds: list[PanelLimit]) -> Panel:
    """Choose the height: all values, and limits that lie no further off than the values reach."""
    low = min(float(np.nanmin(one.values)) for one in series)
    high = max(float(np.nanmax(one.values)) for one in series)
    if unit == "LUFS":
        low = max(low, high - 40.0)  # silence is no loudness
    if wish.marks:
        high = min(high, max([_usual(series[0]), *(float(np.nanmax(one.values)) for one in series[1:])]))
    reach = (high - low) or 1.0
    near = [bound for bound in bounds if low - reach <= bound.value <= high + reach]
    low, high = min([low, *(one.value for one in near)]), max([high, *(one.value for one in near)])
    spare = max(0.06 * (high - low), (HEIGHTS.get(unit, 0.1) - (high - low)) / 2.0)
    return Panel(wish.title, unit, series, tuple(near), low - spare, high + spare)


def _usual(one: Series) -> float:
    """Give a value that only marks between tracks lie above: they are no fiftieth of a side."""
    there = one.values[~np.isnan(one.values)]
    return max(1.15 * float(np.quantile(there, 0.98)), float(np.median(there)) * 2.0)
