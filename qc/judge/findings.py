"""Findings of a report in order: by gravity or by time; what is grave, and which limit a finding was made under."""

from __future__ import annotations

from dataclasses import dataclass

from qc.model.report import Finding, Report, Severity
from qc.text.numbers import number

STEPS = {"1": 0.5, "um": 10.0, "g": 100.0}
"""What counts as one step over a limit of nought without a second value, by unit; else 1."""


@dataclass(frozen=True)
class MeasuredFinding:
    """A finding with the name of what was measured, empty where it is no published number."""

    finding: Finding
    measure: str = ""

    @property
    def second(self) -> float | None:
        """Where it is worst, in file seconds: the sector, not the window around it."""
        measured = self.finding.measured
        at = None if isinstance(measured, str) else measured.at
        return self.finding.location.start_s if at is None or at.start_s is None else at.start_s

    @property
    def window(self) -> tuple[float, float] | None:
        """The file seconds it is taken over, where that is more than the sector itself."""
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
        """Failures first, then by how far over its limit a value lies: in steps from warn to fail, or in parts of it.

        A limit may be nought, so that its own size says nothing of what is far. What somebody answers for comes last.
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
        """Value and limit in a few words, "371 g, above 300 g"; empty where no limit was held."""
        finding = self.finding
        if finding.limit is None or finding.margin is None or self.bound is None or isinstance(finding.measured, str):
            return ""
        side = "above" if finding.measured.value > self.bound else "below"
        return f"{self.value}, {side} {number(self.measure, self.bound, finding.limit.unit)}"

    @property
    def value(self) -> str:
        """What was measured, in a few words."""
        measured = self.finding.measured
        if isinstance(measured, str):
            return measured
        return f"{measured.bound or ''}{number(self.measure, measured.value, measured.unit)}"

    def limit_name(self, report: Report) -> str:
        """Return the name of the limit that was not kept, CHECK/LIMIT; empty where none was held.

        Where a check has several on one measurement, it is the one with this finding's values.
        """
        check, limit = f"{self.finding.check}/", self.finding.limit
        names = {
            name: (held.warn, held.fail)
            for name, held in report.ruleset.limits.items()
            if self.measure and held.measure == self.measure and name.startswith(check)
        }
        same = (name for name, values in names.items() if limit is not None and values == (limit.warn, limit.fail))
        return next(same, next(iter(names), ""))

    @property
    def side(self) -> str:
        """The side it lies on, "delivery" where it lies on none."""
        return self.finding.location.side or "delivery"


def every(report: Report) -> list[MeasuredFinding]:
    """Give every finding of a report that nobody answers for, the gravest first."""
    return [one for one in whole(report) if one.finding.waived_by is None]


def whole(report: Report) -> list[MeasuredFinding]:
    """Give every finding of a report, the gravest first, and last what somebody answers for."""
    found = []
    for result in report.results:
        names = {id(quantity): name for name, quantity in result.measured.items()}
        for finding in result.findings:
            same = (name for name, quantity in result.measured.items() if quantity == finding.measured)
            name = finding.measure or names.get(id(finding.measured)) or next(same, "")
            found.append(MeasuredFinding(finding, name))
    return sorted(found, key=lambda one: one.gravity)


def by_time(report: Report, side: str, *, waived: bool = False) -> list[MeasuredFinding]:
    """Give the findings of a side that have a second, in the order in which they pass the stylus; `waived` too."""
    found = whole(report) if waived else every(report)
    placed = [one for one in found if one.finding.location.side == side and one.second is not None]
    return sorted(placed, key=lambda one: one.second or 0.0)


def is_of_all_the_side(finding: Finding) -> bool:
    """Whether a finding is one number of all the side: its place is where that is worst, and others may be as bad."""
    return bool(finding.measure) and finding.stretch is None


def grades(report: Report, side: str) -> dict[str, Severity]:
    """Return the worst severity found on a side under each limit that is not kept, by CHECK/LIMIT."""
    worst: dict[str, Severity] = {}
    for one in whole(report):
        if one.side == side and worst.get(name := one.limit_name(report)) != "fail":
            worst[name] = one.finding.severity
    return worst
