"""The tables of the page: limits, tracks, measurements, what was assumed, what became of each check."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from qc.judge.findings import grades
from qc.model.plan import FormatRow
from qc.model.quantity import At, clock
from qc.model.report import Report, SideReport
from qc.text.numbers import both, listed, number

NEVER = 1e3
"""dB at which a limit is put that no level reaches."""
GRADES = ("fail", "warn", "rules", "")


class LimitLine(NamedTuple):
    """A limit on a side: its word, what was measured where, what is allowed, at which level it is reached."""

    name: str
    word: str
    value: str
    allowed: str
    reached: str
    at: str
    source: str


def limits(report: Report, side: SideReport) -> list[LimitLine]:
    """Give the limits of a side, those that are not kept first, then those that give out first."""
    rows: list[tuple[int, float, LimitLine]] = []
    levels, graded = side.levels, grades(report, side.id)
    for name, limit in report.ruleset.limits.items():
        quantity = side.measurements.get(limit.measure)
        if quantity is None:
            continue
        reached = None if levels is None or name not in levels.by_limit else levels.by_limit[name].level
        word = graded.get(name) or ("rules" if levels is not None and levels.ruling == name else "")
        value = f"{quantity.bound or ''}{number(limit.measure, quantity.value, quantity.unit)}"
        row = LimitLine(name, word, value, both(limit), str(reached or ""), second(quantity.at), limit.source)
        rows.append((GRADES.index(word), NEVER if reached is None else reached.value, row))
    return [row for *_, row in sorted(rows)]


def second(at: At | None) -> str:
    """Give the second of a place, for people."""
    return "" if at is None or at.start_s is None else clock(at.start_s)


class Measured(NamedTuple):
    """A measurement and where it lies."""

    name: str
    value: str
    at: str
    track: str
    radius: str


def measurements(side: SideReport) -> list[Measured]:
    """Give every measurement of a side by name."""
    rows = []
    for name, quantity in sorted(side.measurements.items()):
        at = quantity.at or At()
        value = f"{quantity.bound or ''}{number(name, quantity.value, quantity.unit)}"
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
    """Give what was assumed, by section."""
    return [
        (section, [_assumed(name, row) for name, row in part.items()])
        for section, part in {**report.ruleset.chain, "level": report.ruleset.level}.items()
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
    """What a disc would make of a side."""

    disc: str
    own: bool
    fit: str
    level: str
    diameter: str
    on_disc: str
    why: str


def formats(rows: Sequence[FormatRow]) -> list[OnDisc]:
    """Give a row a disc; of one that no level fits, no numbers."""
    return [_on_disc(row) for row in rows]


def _on_disc(row: FormatRow) -> OnDisc:
    known = (None, None, None) if row.fit == "too_long" else (row.recommended, row.last_diameter, row.level_on_disc)
    level, diameter, on_disc = ("" if quantity is None else str(quantity) for quantity in known)
    return OnDisc(row.disc, row.planned, FITS[row.fit], level, diameter, on_disc, row.reason or row.ruling or "")


OUTCOMES = (
    ("pass", "Passed"),
    ("waived", "Waived"),
    ("not_applicable", "Not applicable"),
    ("not_measured", "Not measured"),
    ("error", "Failed to run"),
)


def outcomes(report: Report) -> Iterator[tuple[str, list[tuple[str, str, str]]]]:
    """Give what became of the checks that found nothing: check, where, why."""
    for outcome, word in OUTCOMES:
        there: dict[tuple[str, str], list[str]] = {}
        for result in report.results:
            if result.outcome == outcome:
                there.setdefault((result.check, result.reason), []).append(result.side or "delivery")
        if there:
            yield word, [(check, listed(sides), reason) for (check, reason), sides in there.items()]
