"""The findings as the page shows them: numbered by severity, each with its figures, grouped by side and check."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from qc.judge.findings import MeasuredFinding
from qc.model.quantity import clock
from qc.model.report import Report, WaiverFacts
from qc.report.views.level_notes import goes_when_clean, gone
from qc.report.views.waivers import given
from qc.text.numbers import number

OPEN = 8
"""Findings of a check on a side that are open at first; the others unfold."""
MOST_SERIOUS = 3
"""Findings at the top of the page."""


class Waived(NamedTuple):
    """The waiver of a finding: owner, reason and expiry date."""

    owner: str
    reason: str
    expires: str
    given: str
    """where the waiver is written, and whether the sender wrote it"""


@dataclass(frozen=True)
class FindingView:
    """A finding with its number on the page, counted from 1, the most serious first."""

    number: int
    measured: MeasuredFinding
    waived: Waived | None = None

    @property
    def anchor(self) -> str:
        """Id of its element on the page."""
        return f"f{self.number}"

    @property
    def word(self) -> str:
        """The outcome as a word: fail, warn or waived."""
        return "waived" if self.measured.finding.waived_by is not None else self.measured.finding.severity

    @property
    def side(self) -> str:
        """Id of the side; empty where it lies on none."""
        return self.measured.finding.location.side

    @property
    def second(self) -> float | None:
        """Time of the worst moment, in seconds of the file; None without a time."""
        return self.measured.second

    @property
    def at(self) -> str:
        """That time as a clock; empty without one."""
        return "" if self.second is None else clock(self.second)

    @property
    def places(self) -> list[str]:
        """The rest of its location: window, track, radius, channel, line of the delivery."""
        at = self.measured.finding.location
        window = self.measured.window
        return [
            *([f"worst of {clock(window[0])} to {clock(window[1])}"] if window else []),
            *([f"track {at.track}"] if at.track is not None else []),
            *([f"radius {at.radius_mm:.1f} mm"] if at.radius_mm is not None else []),
            *([at.channel] if at.channel else []),
            *([f"line {at.line} of the delivery"] if at.line is not None else []),
        ]

    @property
    def limit(self) -> str:
        """The exceeded limit with its unit; empty without one."""
        limit, bound = self.measured.finding.limit, self.measured.bound
        return "" if limit is None or bound is None else number(self.measured.measure, bound, limit.unit)

    @property
    def margin(self) -> str:
        """The distance from the limit: "0.3 mm below"; empty without numbers."""
        finding, bound = self.measured.finding, self.measured.bound
        if finding.margin is None or finding.limit is None or bound is None or isinstance(finding.measured, str):
            return ""
        beyond = number(self.measured.measure, abs(finding.margin), finding.limit.unit).lstrip("+")
        return f"{beyond} {'above' if finding.measured.value > bound else 'below'}"


class CheckSection(NamedTuple):
    """The findings of a check on a side."""

    check: str
    findings: list[FindingView]
    omitted: int
    remedies: list[str]
    """shown once for all findings; empty where they differ"""

    @property
    def first(self) -> list[FindingView]:
        """Findings that are open at first."""
        return self.findings[:OPEN]

    @property
    def rest(self) -> list[FindingView]:
        """Findings that unfold."""
        return self.findings[OPEN:]


class SideSection(NamedTuple):
    """The findings of a side, or of the delivery as a whole, where `side` is empty."""

    side: str
    sections: list[CheckSection]
    gone: list[CheckSection]
    """warnings that disappear at the clean level: they unfold from the line that counts them"""
    gone_words: str


def finding_views(report: Report) -> list[FindingView]:
    """Return all findings of a report, numbered by severity, waived ones last."""
    waivers = {waiver.key: waiver for waiver in report.waivers}
    findings = [MeasuredFinding(finding, finding.measure) for result in report.results for finding in result.findings]
    findings.sort(key=lambda measured: (measured.finding.waived_by is not None, measured.gravity))
    return [
        FindingView(count, measured, _waived(measured, waivers)) for count, measured in enumerate(findings, start=1)
    ]


def _waived(measured: MeasuredFinding, waivers: dict[str, WaiverFacts]) -> Waived | None:
    key = measured.finding.waived_by
    if key is None:
        return None
    waiver = waivers.get(key)
    if waiver is None:
        return Waived(key, "", "", "")
    return Waived(waiver.owner, waiver.reason, waiver.expires or "", given(waiver))


def groups(report: Report, findings: Iterable[FindingView]) -> list[SideSection]:
    """Group findings by side, in the delivery's order, then by check, the most serious first."""
    sides = {"": "", **{side.id: gone(report, side) for side in report.sides}}
    order = (*(side.id for side in report.sides), "")
    kept, going = ({side: dict[str, list[FindingView]]() for side in order} for _ in range(2))
    for finding in findings:
        place = going if goes_when_clean(report, finding.measured) else kept
        place.setdefault(finding.side, {}).setdefault(finding.measured.finding.check, []).append(finding)
    omitted = {(result.side or "", result.check): result.findings_omitted for result in report.results}

    def sections_of(side: str, checks: dict[str, list[FindingView]]) -> list[CheckSection]:
        return [_section(check, views, omitted.pop((side, check), 0)) for check, views in checks.items()]

    return [
        SideSection(side, sections_of(side, kept[side]), sections_of(side, going.get(side, {})), sides.get(side, ""))
        for side in kept
        if kept[side] or going.get(side)
    ]


def _section(check: str, findings: list[FindingView], omitted: int) -> CheckSection:
    remedies = list(dict.fromkeys(view.measured.finding.remedy for view in findings))
    return CheckSection(check, findings, omitted, remedies if len(remedies) == 1 else [])


def matters(report: Report, findings: Iterable[FindingView]) -> list[FindingView]:
    """Return the most serious finding of each check and side, three at most, failures before warnings.

    Waived findings, and warnings that disappear at the clean level, are left out.
    """
    first: dict[tuple[str, str], FindingView] = {}
    for finding in findings:
        if finding.measured.finding.waived_by is None and not goes_when_clean(report, finding.measured):
            first.setdefault((finding.side, finding.measured.finding.check), finding)
    return list(first.values())[:MOST_SERIOUS]
