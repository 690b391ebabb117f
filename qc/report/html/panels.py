"""The panels of the timelines: their curves, limits and heights."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.groove.figures.curves import PANELS, UNITS, CurveSpec, PanelSpec
from qc.groove.level.side_at_level import UNITS as WORKED
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.report import HeldLimit, Report
from qc.plugin_base import Curve
from qc.text.numbers import number

Array = NDArray[np.float64]


HEIGHTS = {"um": 20.0, "g": 20.0, "LUFS": 12.0, "dB": 6.0, "1": 0.2}
"""Least height of a panel in its unit, so that a steady curve looks steady."""


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
    """A limit as a horizontal line of a panel."""

    value: float
    word: str
    """fail or warn: the outcome beyond it"""
    words: str


@dataclass(frozen=True)
class Panel:
    """One panel: its curves share steps and unit."""

    title: str
    unit: str
    series: tuple[Series, ...]
    limits: tuple[PanelLimit, ...]
    low: float
    high: float
    """values at the lower and upper edge"""


def panels(report: Report, traces: Mapping[str, Array], curves: Mapping[str, Curve], start_s: float) -> list[Panel]:
    """Return the panels that have a curve to draw: those of the traces, then one for each curve.

    Traces begin at `start_s` of the file.
    """
    available = dict(curves) | {
        name: Curve(values, _unit(name), start_s + 0.5 / SECTORS_A_SECOND, 1.0 / SECTORS_A_SECOND)
        for name, values in traces.items()
    }
    result = []
    for spec in (*PANELS, *(_panel_of(name, curve) for name, curve in curves.items())):
        drawable = [
            (curve_spec, available[curve_spec.name])
            for curve_spec in spec.curves
            if _drawable(available.get(curve_spec.name))
        ]
        if drawable:
            series = tuple(
                Series(curve_spec.label, curve.values, curve.start_s, curve.step_s, curve_spec.least)
                for curve_spec, curve in drawable
            )
            limits = list(dict.fromkeys(limit for curve_spec, _ in drawable for limit in _limits(report, curve_spec)))
            result.append(_panel(spec, drawable[0][1].unit, series, limits))
    return result


def _panel_of(name: str, curve: Curve) -> PanelSpec:
    """Describe the panel of a curve by itself."""
    return PanelSpec(curve.title or name, (CurveSpec(name, curve.label or name, curve.least),))


def _drawable(curve: Curve | None) -> bool:
    """Whether a curve exists and has two values at least."""
    return curve is not None and int(np.count_nonzero(~np.isnan(curve.values))) > 1


def _unit(name: str) -> str:
    return UNITS.get(name) or WORKED.get(name, "1")


def _limits(report: Report, curve_spec: CurveSpec) -> Iterator[PanelLimit]:
    """Yield the limits of a curve."""
    for limit in report.ruleset.limits.values():
        if limit.measure == curve_spec.name:
            yield from _lines(limit)


def _lines(limit: HeldLimit) -> Iterator[PanelLimit]:
    for word, bound in (("fail", limit.fail), ("warn", limit.warn)):
        if bound is not None:
            beyond = ">" if limit.op == "<=" else "<"
            yield PanelLimit(bound, word, f"{word} {beyond} {number(limit.measure, bound, limit.unit)}")


def _panel(spec: PanelSpec, unit: str, series: tuple[Series, ...], limits: list[PanelLimit]) -> Panel:
    """Choose the height: all values, and the limits no further away than the values reach."""
    low = min(float(np.nanmin(curve.values)) for curve in series)
    high = max(float(np.nanmax(curve.values)) for curve in series)
    if unit == "LUFS":
        low = max(low, high - 40.0)  # silence is no loudness
    if spec.marks:
        high = min(high, max([_usual(series[0]), *(float(np.nanmax(curve.values)) for curve in series[1:])]))
    reach = (high - low) or 1.0
    near = [limit for limit in limits if low - reach <= limit.value <= high + reach]
    low, high = min([low, *(limit.value for limit in near)]), max([high, *(limit.value for limit in near)])
    spare = max(0.06 * (high - low), (HEIGHTS.get(unit, 0.1) - (high - low)) / 2.0)
    return Panel(spec.title, unit, series, tuple(near), low - spare, high + spare)


def _usual(series: Series) -> float:
    """Return a value that only marks between tracks exceed: they are less than a fiftieth of a side."""
    values = series.values[~np.isnan(series.values)]
    return max(1.15 * float(np.quantile(values, 0.98)), float(np.median(values)) * 2.0)
