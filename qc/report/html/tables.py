"""The rows of the page's tables: limits, measurements, assumptions, other discs, outcomes of checks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from qc.judge.findings import grades, judged_numbers
from qc.model.plan import FormatRow
from qc.model.quantity import At, clock
from qc.model.report import Report, SideReport
from qc.text.numbers import both, listed, parameter_text, quantity_text

NEVER = 1e3
"""Level in dB that sorts a limit that no level reaches behind the others."""
GRADES = ("fail", "warn", "rules", "")


class LimitLine(NamedTuple):
    """A row of the table of limits, as texts: `word` is the outcome, `reached` the level that reaches the limit."""

    name: str
    word: str
    value: str
    allowed: str
    reached: str
    at: str
    source: str


def limits(report: Report, side: SideReport) -> list[LimitLine]:
    """Return the limits of a side: exceeded ones first, then by the level that reaches them."""
    rows: list[tuple[int, float, LimitLine]] = []
    levels, words = side.levels, grades(report, side.id)
    for name, judged in judged_numbers(report, side).items():
        limit = report.ruleset.limits[name]
        reached = None if levels is None or name not in levels.by_limit else levels.by_limit[name].level
        word = words.get(name) or ("rules" if levels is not None and levels.ruling == name else "")
        value, at = judged.text(limit.measure), second(judged.quantity.at)
        row = LimitLine(name, word, value, both(limit), str(reached or ""), at, limit.source)
        rows.append((GRADES.index(word), NEVER if reached is None else reached.value, row))
    return [row for *_, row in sorted(rows)]


def second(at: At | None) -> str:
    """Write the time of a place as a clock; empty without one."""
    return "" if at is None or at.start_s is None else clock(at.start_s)


class ParameterLine(NamedTuple):
    """A row of the table of parameters, as texts."""

    name: str
    value: str
    source: str


def parameters(report: Report) -> list[ParameterLine]:
    """Return the parameters of the checks, as they were set."""
    rows = report.ruleset.parameters.items()
    return [ParameterLine(name, parameter_text(facts), facts.source) for name, facts in rows]


class OfTip(NamedTuple):
    """A row of the table of tips, as texts: the recommended level if this tip traced the side."""

    tip: str
    size: str
    own: bool
    level: str
    ruling: str
    diameter: str


def tips(side: SideReport) -> list[OfTip]:
    """Return a row for each tip that the ruleset names; the reason in place of the limit where there is no level."""
    return [
        OfTip(
            tip.tip, tip.size, tip.own, str(tip.recommended or ""), tip.ruling or tip.reason,
            "" if tip.last_diameter is None else f"{tip.last_diameter.value:.1f} mm",
        )
        for tip in (() if side.levels is None else side.levels.by_tip)
    ]  # fmt: skip


class Measured(NamedTuple):
    """A row of the table of measurements, as texts."""

    name: str
    value: str
    at: str
    track: str
    radius: str


def measurements(side: SideReport) -> list[Measured]:
    """Return all measurements of a side, in the order of their names."""
    rows = []
    for name, quantity in sorted(side.measurements.items()):
        at = quantity.at or At()
        value = quantity_text(name, quantity)
        track = "" if at.track is None else str(at.track)
        radius = "" if at.radius_mm is None else f"{at.radius_mm:.1f} mm"
        rows.append(Measured(name, value, second(at), track, radius))
    return rows


class AssumptionView(NamedTuple):
    """A value of the chain with its source; `was` is what the ruleset says where it was changed for this run."""

    name: str
    value: str
    source: str
    was: str


def assumed(report: Report) -> list[tuple[str, list[AssumptionView]]]:
    """Return the values of the chain, of the level policy and the named tips, by section."""
    return [
        (section, [_assumed(name, row) for name, row in part.items()])
        for section, part in {
            **report.ruleset.chain, "level": report.ruleset.level, "tips": report.ruleset.tips
        }.items()
    ]  # fmt: skip


def _assumed(name: str, row: dict[str, object]) -> AssumptionView:
    was = str(row["was"]) if "was" in row else ""
    return AssumptionView(name.replace("_", " "), str(row.get("value", "")), str(row.get("source", "")), was)


FITS = {
    "fits": "fits",
    "quiet": "fits, quiet",
    "too_quiet": "too quiet",
    "too_long": "too long",
    "not_compared": "not compared",
}


class OnDisc(NamedTuple):
    """A row of the table of discs, as texts: the same side cut on that disc."""

    disc: str
    own: bool
    fit: str
    level: str
    diameter: str
    on_disc: str
    why: str


def formats(rows: Sequence[FormatRow]) -> list[OnDisc]:
    """Return a row for each disc; without numbers where no level fits."""
    return [_on_disc(row) for row in rows]


def _on_disc(row: FormatRow) -> OnDisc:
    numbers = (None, None, None) if row.fit == "too_long" else (row.recommended, row.last_diameter, row.level_on_disc)
    level, diameter, on_disc = ("" if quantity is None else str(quantity) for quantity in numbers)
    return OnDisc(row.disc, row.planned, FITS[row.fit], level, diameter, on_disc, row.reason or row.ruling or "")


OUTCOMES = (
    ("pass", "Passed"),
    ("waived", "Waived"),
    ("not_applicable", "Not applicable"),
    ("not_measured", "Not measured"),
    ("error", "Failed to run"),
)


def outcomes(report: Report) -> Iterator[tuple[str, list[tuple[str, str, str]]]]:
    """Yield a heading and rows of (check, sides, reason) for each outcome without findings."""
    for outcome, word in OUTCOMES:
        sides_by_reason: dict[tuple[str, str], list[str]] = {}
        for result in report.results:
            if result.outcome == outcome:
                sides_by_reason.setdefault((result.check, result.reason), []).append(result.side or "delivery")
        if sides_by_reason:
            yield word, [(check, listed(sides), reason) for (check, reason), sides in sides_by_reason.items()]
