"""The level budget as bars: the highest level that each limit allows on its own, the tightest first."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from markupsafe import Markup

from qc.model.report import BudgetLine, Levels, SideReport
from qc.report.html.svg import Figure, element, path, text
from qc.report.html.tables import second
from qc.report.html.timelines import ticks

WIDTH, LEFT, RIGHT, HEAD, ROW, FOOT = 1200.0, 390.0, 170.0, 40.0, 26.0, 30.0
MOST = 14
"""Limits drawn at the most, those reached first; the table has the others."""


def bars(name: str, side: SideReport) -> Figure | None:
    """Draw the budget of a side; None where nothing limits its level."""
    levels = side.levels
    if levels is None or levels.budget is None or not levels.budget.limits:
        return None
    lines = levels.budget.limits[:MOST]
    levels_db = [line.level.value for line in lines] + [levels.judged.value, levels.recommended.value]
    low, high = min(levels_db) - 3.0, max(levels_db) + 1.5
    height = HEAD + ROW * len(lines) + FOOT

    def across(level: float) -> float:
        return LEFT + (level - low) / (high - low) * (WIDTH - LEFT - RIGHT)

    body = [*_grid(low, high, across, height)]
    for index, line in enumerate(lines):
        body += _bar(line, HEAD + ROW * index, across, ruling=line.limit == levels.budget.ruling)
    body += _levels(levels, across, height)
    return Figure(
        name, f"The level budget of side {side.id}",
        "; ".join(f"{line.limit} {line.level}" for line in lines), WIDTH, height, Markup("").join(body), "budget",
    )  # fmt: skip


def _grid(low: float, high: float, across: Callable[[float], float], height: float) -> Iterator[Markup]:
    for level in ticks(low, high, 6):
        x = across(level)
        yield element("path", class_="rule", d=path([(x, HEAD - 6), (x, height - FOOT)]))
        yield text(x, height - 10, f"{level:+g} dB" if level else "0 dB", class_="dim middle")


def _bar(line: BudgetLine, top: float, across: Callable[[float], float], *, ruling: bool) -> Iterator[Markup]:
    end = across(line.level.value)
    kind = "fill-one" if ruling else "fill-dim"
    yield text(LEFT - 12, top + 15, line.limit, class_="end strong" if ruling else "end")
    yield element("rect", class_=kind, x=LEFT, y=top + 4, width=max(0.0, end - LEFT), height=ROW - 10)
    at = second(line.at)
    yield text(
        WIDTH - RIGHT + 12, top + 15, f"{line.level}{f' at {at}' if at else ''}", class_="strong" if ruling else None
    )


def _levels(levels: Levels, across: Callable[[float], float], height: float) -> Iterator[Markup]:
    """Mark the recommended level, and the judged level where it was requested or differs."""
    marks = [("recommended", levels.recommended.value, "axis-strong")]
    judged = levels.judged.value
    if levels.basis == "requested" or (levels.basis is None and levels.declared is not None):
        marks.append(("requested", judged, "bound-fail"))
    elif judged != levels.recommended.value:
        word = "release" if levels.basis == "release" else "judged at"
        marks.append((word, judged, "bound-fail" if judged > levels.recommended.value else "axis-strong"))
    for row, (word, level, kind) in enumerate(sorted(marks, key=lambda mark: mark[1])):
        x = across(level)
        yield element("path", class_=kind, d=path([(x, HEAD - 8), (x, height - FOOT)]))
        end = row == 0 and len(marks) > 1
        yield text(
            x - 5 if end else x + 5, HEAD - 14, f"{word} {level:+.1f} dB", class_="strong end" if end else "strong"
        )
