"""The gain of repairs in words: the limit that sets the level, and the level gained by reducing its worst passages."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from qc.model.quantity import At, Quantity, clock, minutes
from qc.model.report import Budget, Repair, Report, SideReport
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

LEAST = 0.05
"""Least gain in dB: levels are given in tenths."""
NEIGHBOURS = 10
"""Neighbours that the verbose report shows of a side."""


def ruled(report: Report, side: SideReport) -> str:
    """Write the limit that sets the level of a side and the gain of a repair; empty where no limit sets it."""
    budget = None if side.levels is None else side.levels.budget
    if budget is None or budget.ruling is None:
        return ""
    levels = side.levels
    own = "its own level is " if levels is not None and levels.judged.value < levels.recommended.value else ""
    words = f"{own}limited by the {limit_words(report, budget.ruling)}"
    return "; ".join([words, *_gains(budget)])


SAID = {
    "groove.lateral_displacement_10s": "sustained swing to the side",
    "groove.lateral_displacement_peak": "widest swing to the side",
    "groove.lateral_speed_ratio_peak": "fastest swing to the side",
    "groove.lateral_slope_time": "time it swings too steeply",
    "groove.lateral_slope_time_twice": "time it swings far too steeply",
    "groove.vertical_slope_time": "time it rises and falls too steeply",
    "groove.vertical_slope_time_twice": "time it rises and falls far too steeply",
    "groove.tracing_ratio_time": "time its curves are too tight",
    "groove.tracing_ratio_time_twice": "time its curves are far too tight",
    "groove.sibilance_time": "time with too strong sibilance or cymbals",
    "groove.sibilance_time_twice": "time with far too strong sibilance or cymbals",
    "layout.minutes_over_chart": "minutes beyond the playing-time table",
}
"""Measurements that have other words than their names."""


def limit_words(report: Report, name: str) -> str:
    """Name a limit by its measurement, in the words of its check: "last diameter", "least land"."""
    limit = report.ruleset.limits.get(name)
    measure = name if limit is None else limit.measure
    words = "" if limit is None else limit.of.removeprefix("the ").rstrip(",")
    return SAID.get(measure) or words or measure.partition(".")[2].replace("_", " ") or measure


def _gains(budget: Budget) -> list[str]:
    """Describe the first repair with a gain, and the last one where it gains more."""
    first = next((repair for repair in budget.repairs if repair.wins.value > LEAST), None)
    if first is None:
        return ["reducing its worst passages gains nothing"] if budget.repairs else []
    words = f"reducing {_passages(first)} gains {_plain(first.wins)}"
    last = budget.repairs[-1]
    more = last.wins.value > first.wins.value + LEAST
    return [f"{words}, {_passages(last)} {_plain(last.wins)}" if more else words]


def _plain(level: Quantity) -> str:
    return f"{level.bound or ''}{level.value:.1f} {level.unit}"


def _passages(repair: Repair) -> str:
    """Name a passage by its seconds, several by their number."""
    if len(repair.passages) > 1:
        return f"{len(repair.passages)} passages"
    (passage,) = repair.passages
    return f"{minutes(math.floor(passage.start_s + 1e-9))}-{minutes(math.ceil(passage.end_s - 1e-9))}"


def fully(page: Page, side: SideReport) -> None:
    """Write the whole budget of a side, and the neighbours that may print through."""
    budget = None if side.levels is None else side.levels.budget
    if budget is not None and budget.limits:
        rows = [(line.limit, str(line.level), str(line.above), *_at(line.at)) for line in budget.limits]
        head = (f"BUDGET OF {shown(side.id, 20)}", "level", "above", "reached at", "track", "radius")
        page.table(head, rows, least=3)
        if budget.ruling is not None:
            then = f", limited by {budget.then}" if budget.then else ""
            page.say(f"without {budget.ruling} {budget.lifted}{then}", label="  ", indent=4)
        if budget.repairs:
            tried = [_tried(number, repair) for number, repair in enumerate(budget.repairs, start=1)]
            page.table(("REDUCING", "level", "gains", "then limited by"), tried, least=3)
    if side.print_through:
        near = [
            (_second(pair.loud), _second(pair.quiet), _track(pair.loud), str(pair.land), _plain(pair.apart))
            for pair in side.print_through[:NEIGHBOURS]
        ]
        page.table(("LOUD", "next to quiet", "track", "land", "apart"), near)
        if rest := len(side.print_through) - len(near):
            page.say(f"and {rest} more in the JSON report", label="  ")


def _tried(number: int, repair: Repair) -> tuple[str, ...]:
    """Return a row of the table: the passage that a repair adds to those before it, and the result of all of them."""
    last = repair.passages[-1]
    passage_words = f"{'and ' if number > 1 else ''}{clock(last.start_s)} to {clock(last.end_s)}"
    return passage_words, str(repair.recommended), _plain(repair.wins), repair.ruling or ""


def _at(at: At | None) -> tuple[str, str, str]:
    radius = "" if at is None or at.radius_mm is None else f"{at.radius_mm:.1f} mm"
    return _second(at), _track(at), radius


def _second(at: At | None) -> str:
    return "" if at is None or at.start_s is None else clock(at.start_s)


def _track(at: At | None) -> str:
    return "" if at is None or at.track is None else str(at.track)
