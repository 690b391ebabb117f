"""Events: the stretches of a side in which a limit is not kept, each with the second where it is worst.

A stretch is what lies beyond the limit in either polarity that is judged, and its worst value is that of the worse
one. What lies beyond the fail value is an event of its own; within half a second of it nothing milder is reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from qc.groove.geometry.cut import MEASURES, windowed
from qc.groove.geometry.traces import OF_TRAVEL, Mask, Trace, furthest, loud, trace
from qc.groove.geometry.worst import Worst
from qc.groove.level.levels import LevelSearch
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.quantity import Polarity, meets
from qc.plugin_base import At, Quantity

TOGETHER = SECTORS_A_SECOND // 2
"""Sectors: events that are closer than 0.5 s are one, so 37 sectors between them, and not 38."""

Stretch = tuple[int, int]
"""Sectors of the span, from the first to before the second."""


@dataclass(frozen=True, slots=True)
class Event:
    """A stretch in which a limit is not kept, in sectors of the span, and the worst of it.

    `worst.start` and `worst.end` are the window that a share or a drive is taken over, else the sector itself; the
    value is in the unit of the measurement, as `bound` is, the value of the limit that it lies beyond.
    """

    measure: str
    severity: Literal["warn", "fail"]
    start: int
    end: int
    worst: Worst
    value: float
    bound: float
    polarity: Polarity


@dataclass(frozen=True, slots=True)
class PlacedEvent:
    """An event in a report's words: the worst value at its sector, the window it is taken over, the whole stretch."""

    severity: Literal["warn", "fail"]
    measured: Quantity
    window: At
    stretch: At


def events(search: LevelSearch, level: float, measure: str, warn: float | None, fail: float | None) -> list[Event]:
    """Find every stretch in which a measurement does not keep to a limit at a level, in the order of time.

    Empty where it holds, and for numbers that belong to the side as a whole.
    """
    if _holds(search, level, measure, warn if warn is not None else fail):
        return []
    traces = trace_of_each(search, level, measure)
    if not traces:
        return []
    found: list[Event] = []
    severe: list[Stretch] = []
    if fail is not None:
        severe = stretches(_broken(traces, measure, fail), TOGETHER)
        for stretch in severe:
            found += _event(traces, measure, "fail", fail, stretch)
    if warn is not None and not (severe and measure in OF_TRAVEL):  # it only goes on: one event reports it
        mild = _broken(traces, measure, warn)
        for start, end in severe:
            mild[max(0, start - TOGETHER) : end + TOGETHER] = False
        for stretch in stretches(mild, TOGETHER):
            found += _event(traces, measure, "warn", warn, stretch)
    return sorted(found, key=lambda event: event.start)


def _holds(search: LevelSearch, level: float, measure: str, bound: float | None) -> bool:
    """Whether a side keeps to a bound everywhere, or has no bound or no trace to judge."""
    if bound is None or measure not in MEASURES:
        return True
    how = MEASURES[measure]
    return meets(search.worst(measure, level)[0].value * how.factor, bound, how.op, how.unit)


def trace_of_each(search: LevelSearch, level: float, measure: str) -> dict[Polarity, Trace]:
    """Follow a measurement in each polarity, first the one whose spiral travels further."""
    further = search.worst("groove.travel", level)[1]
    order = sorted(search.side.polarities, key=lambda polarity: polarity != further)
    traces = {polarity: trace(search.cutting(level, polarity), measure) for polarity in order}
    return {polarity: curve for polarity, curve in traces.items() if curve is not None}


def _broken(traces: dict[Polarity, Trace], measure: str, bound: float) -> Mask:
    """Mask of the sectors beyond a bound in any polarity, by themselves or in a window; (sectors,)."""
    at = furthest(measure, bound)
    masks = [curve.spread(curve.beyond(at)) for curve in traces.values()]
    mask: Mask = np.logical_or.reduce(masks)
    return mask


def stretches(mask: Mask, together: int) -> list[Stretch]:
    """Return the stretches in which a mask is set, those with no more than `together` sectors between them as one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    if not len(starts):
        return []
    apart = starts[1:] - ends[:-1] > together
    first, final = starts[np.concatenate([[True], apart])], ends[np.concatenate([apart, [True]])]
    return list(zip(first.tolist(), final.tolist(), strict=True))


def _event(
    traces: dict[Polarity, Trace], measure: str, severity: Literal["warn", "fail"], bound: float, stretch: Stretch
) -> list[Event]:
    """Make the event of a stretch; of windows it keeps the sectors that have part in what they are over."""
    start, end = stretch
    if windowed(measure):
        least = loud(measure, furthest(measure, bound))
        part = np.logical_or.reduce([(curve.walls[:, start:end] > least).any(axis=0) for curve in traces.values()])
        there = np.flatnonzero(part)
        if not len(there):  # only windows that are over by what lies in a graver event reach here
            return []
        start, end = start + int(there[0]), start + int(there[-1]) + 1
    found = [(curve.worst(start, end), polarity, curve.sign) for polarity, curve in traces.items()]
    worst, polarity, _ = max(found, key=lambda candidate: candidate[2] * candidate[0].value)  # of equal ones the first
    value = worst.value * MEASURES[measure].factor
    return [Event(measure, severity, start, end, worst, value, bound, polarity)]


def placed(search: LevelSearch, level: float, event: Event) -> PlacedEvent:
    """Put an event into a report's words."""
    worst = event.worst

    def at(start: int, end: int) -> At:
        return search.place(worst, event.polarity, level, start, end)

    measured = Quantity(value=event.value, unit=MEASURES[event.measure].unit, at=at(worst.sector, worst.sector + 1))
    return PlacedEvent(event.severity, measured, at(worst.start, worst.end), at(event.start, event.end))
