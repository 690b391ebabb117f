"""What a repair is worth, for people: the limit that sets the level, and what reducing its worst passages wins."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from qc.model.quantity import At, Quantity, clock, minutes
from qc.model.report import Budget, Repair, Report, SideReport
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

LEAST = 0.05
"""dB: levels go by tenths, so that less is nothing."""
NEIGHBOURS = 10
"""Neighbours that the verbose report shows of a side."""


def ruled(report: Report, side: SideReport) -> str:
    """Say in a line what rules the level of a side and what a repair wins; empty where nothing rules it."""
    budget = None if side.levels is None else side.levels.budget
    if budget is None or budget.ruling is None:
        return ""
    levels = side.levels
    own = "its own level is " if levels is not None and levels.judged.value < levels.recommended.value else ""
    words = f"{own}limited by the {limit_words(report, budget.ruling)}"
    return "; ".join([words, *_gains(budget)])


def limit_words(report: Report, name: str) -> str:
    """Name a limit by what it is held against: "last diameter", "drive 1s"."""
    limit = report.ruleset.limits.get(name)
    measure = name if limit is None else limit.measure
    return measure.partition(".")[2].replace("_", " ") or measure


def _gains(budget: Budget) -> list[str]:
    """Tell the first repair that wins something, and the last where it wins more."""
    first = next((repair for repair in budget.repairs if repair.wins.value > LEAST), None)
    if first is None:
        return ["reducing its worst passages gains nothing"] if budget.repairs else []
    told = f"reducing {_passages(first)} gains {_plain(first.wins)}"
    last = budget.repairs[-1]
    more = last.wins.value > first.wins.value + LEAST
    return [f"{told}, {_passages(last)} {_plain(last.wins)}" if more else told]


def _plain(level: Quantity) -> str:
    return f"{level.bound or ''}{level.value:.1f} {level.unit}"


def _passages(repair: Repair) -> str:
    """Name a passage by its seconds, several by their number."""
    if len(repair.passages) > 1:
        return f"{len(repair.passages)} passages"
    (one,) = repair.passages
    return f"{minutes(math.floor(one.start_s + 1e-9))}-{minutes(math.ceil(one.end_s - 1e-9))}"


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
            (_second(one.loud), _second(one.quiet), _track(one.loud), str(one.land), _plain(one.apart))
            for one in side.print_through[:NEIGHBOURS]
        ]
        page.table(("LOUD", "beside quiet", "track", "land", "apart"), near)
        if rest := len(side.print_through) - len(near):
            page.say(f"and {rest} more in the JSON report", label="  ")


def _tried(number: int, repair: Repair) -> tuple[str, ...]:
    """Give the passage that a repair takes beside those before it, and what all of them come to."""
    last = repair.passages[-1]
    where = f"{'and ' if number > 1 else ''}{clock(last.start_s)} to {clock(last.end_s)}"
    return where, str(repair.recommended), _plain(repair.wins), repair.ruling or ""


def _at(at: At | None) -> tuple[str, str, str]:
    radius = "" if at is None or at.radius_mm is None else f"{at.radius_mm:.1f} mm"
    return _second(at), _track(at), radius


def _second(at: At | None) -> str:
    return "" if at is None or at.start_s is None else clock(at.start_s)


def _track(at: At | None) -> str:
    return "" if at is None or at.track is None else str(at.track)
