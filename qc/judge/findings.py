"""Order the findings of a report by severity or time, and relate each to its measurement and limit."""

from __future__ import annotations

from dataclasses import dataclass

from qc.model.quantity import Quantity, meets
from qc.model.report import Finding, Report, Severity, SideReport
from qc.text.numbers import number, quantity_text

STEPS = {"1": 0.5, "um": 10.0, "g": 100.0}
"""unit -> size of one step beyond a limit of zero that has only one value; 1 for other units."""
COMPARED = frozenset({"pass", "warn", "fail", "waived"})
"""Outcomes of a check that compared its limits."""


@dataclass(frozen=True, slots=True)
class JudgedNumber:
    """A number compared with a limit; `counts` is false where the check passed it over."""

    quantity: Quantity
    counts: bool

    def text(self, measure: str) -> str:
        """Write it for a table of limits."""
        return f"{quantity_text(measure, self.quantity)}{'' if self.counts else ', does not count'}"


@dataclass(frozen=True)
class MeasuredFinding:
    """A finding with the name of its measurement, empty where the number is not published."""

    finding: Finding
    measure: str = ""

    @property
    def second(self) -> float | None:
        """The worst place in file seconds: the sector, not the window around it."""
        measured = self.finding.measured
        at = None if isinstance(measured, str) else measured.at
        return self.finding.location.start_s if at is None or at.start_s is None else at.start_s

    @property
    def window(self) -> tuple[float, float] | None:
        """Start and end of the window of the number in file seconds; None where it is one sector."""
        at = self.finding.location
        if at.start_s is None or at.end_s is None or at.start_s == self.second:
            return None
        return at.start_s, at.end_s

    @property
    def bound(self) -> float | None:
        """The value of the limit that was not kept."""
        limit = self.finding.limit
        return None if limit is None else limit.fail if self.finding.severity == "fail" else limit.warn

    @property
    def gravity(self) -> tuple[bool, bool, float]:
        """Sort key by severity: failures first, then by distance beyond the limit, waived findings last.

        The distance is in steps from warn to fail, or relative to the limit where it has one value. A limit of zero has
        no relative distance and uses `STEPS`.
        """
        waived, milder = self.finding.waived_by is not None, self.finding.severity != "fail"
        margin, limit = self.finding.margin, self.finding.limit
        if margin is None or limit is None:
            return waived, milder, float("-inf")
        both = limit.warn is not None and limit.fail is not None and limit.warn != limit.fail
        step = abs((limit.fail or 0.0) - (limit.warn or 0.0)) if both else abs(self.bound or 0.0)
        return waived, milder, margin / (step or STEPS.get(limit.unit, 1.0))

    @property
    def over(self) -> str:
        """Value and limit, "371 g, above 300 g"; empty without a limit."""
        finding = self.finding
        if finding.limit is None or finding.margin is None or self.bound is None or isinstance(finding.measured, str):
            return ""
        side = "above" if finding.measured.value > self.bound else "below"
        return f"{self.value}, {side} {number(self.measure, self.bound, finding.limit.unit)}"

    @property
    def value(self) -> str:
        """The measured value, formatted."""
        measured = self.finding.measured
        if isinstance(measured, str):
            return measured
        return quantity_text(self.measure, measured)

    def limit_name(self, report: Report) -> str:
        """Return the name of the limit that was not kept, CHECK/LIMIT; empty without a limit.

        Of several limits of a check on one measurement, it is the one with this finding's values.
        """
        check, limit = f"{self.finding.check}/", self.finding.limit
        names = {
            name: (entry.warn, entry.fail)
            for name, entry in report.ruleset.limits.items()
            if self.measure and entry.measure == self.measure and name.startswith(check)
        }
        same = (name for name, values in names.items() if limit is not None and values == (limit.warn, limit.fail))
        return next(same, next(iter(names), ""))

    @property
    def side(self) -> str:
        """The side of the finding, "delivery" without a side."""
        return self.finding.location.side or "delivery"


def every(report: Report) -> list[MeasuredFinding]:
    """Return every unwaived finding of a report, the most severe first."""
    return [entry for entry in whole(report) if entry.finding.waived_by is None]


def whole(report: Report) -> list[MeasuredFinding]:
    """Return every finding of a report, the most severe first, waived ones last."""
    found = []
    for result in report.results:
        names = {id(quantity): name for name, quantity in result.measured.items()}
        for finding in result.findings:
            same = (name for name, quantity in result.measured.items() if quantity == finding.measured)
            name = finding.measure or names.get(id(finding.measured)) or next(same, "")
            found.append(MeasuredFinding(finding, name))
    return sorted(found, key=lambda entry: entry.gravity)


def by_time(report: Report, side: str, *, waived: bool = False) -> list[MeasuredFinding]:
    """Return the findings of a side with a place in order of time; with `waived` also waived ones."""
    found = whole(report) if waived else every(report)
    placed = [entry for entry in found if entry.finding.location.side == side and entry.second is not None]
    return sorted(placed, key=lambda entry: entry.second or 0.0)


def is_of_all_the_side(finding: Finding) -> bool:
    """Whether a finding is one number of the whole side, whose place is only the worst of possibly many."""
    return bool(finding.measure) and finding.stretch is None


def grades(report: Report, side: str) -> dict[str, Severity]:
    """Return the worst severity found on a side under each limit that is not kept, by CHECK/LIMIT."""
    worst: dict[str, Severity] = {}
    for entry in whole(report):
        if entry.side == side and worst.get(name := entry.limit_name(report)) != "fail":
            worst[name] = entry.finding.severity
    return worst


def judged_numbers(report: Report, side: SideReport) -> dict[str, JudgedNumber]:
    """Return the number that each limit was compared with on a side, by CHECK/LIMIT; none without a measurement.

    A check may compare a part of a measurement alone: the correlation only where the bass moves far. Then it is the
    number of its finding; without a finding, the published number, which does not count where it breaks the limit.
    """
    results = {result.check: result for result in report.results if result.side == side.id}
    graded = grades(report, side.id)
    own: dict[str, Quantity] = {}
    for entry in whole(report):
        measured = entry.finding.measured
        if entry.side == side.id and entry.finding.stretch is None and isinstance(measured, Quantity):
            own.setdefault(entry.limit_name(report), measured)
    found = {}
    for name, limit in report.ruleset.limits.items():
        quantity, result = side.measurements.get(limit.measure), results.get(name.partition("/")[0])
        if quantity is None:
            continue
        judged = result is not None and result.outcome in COMPARED and not result.findings_omitted
        broken = any(
            bound is not None and not meets(quantity.value, bound, limit.op, limit.unit)
            for bound in (limit.warn, limit.fail)
        )
        missing = judged and broken and quantity.unit == limit.unit and name not in graded
        found[name] = JudgedNumber(own.get(name, quantity), counts=not missing)
    return found
