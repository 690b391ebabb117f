"""The findings as the page tells them: numbered by gravity, each with its figures, put together by side and check."""

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
"""Findings of one check on one side that lie open; the others unfold."""
THINGS = 3


class Waived(NamedTuple):
    """Who answers for a finding, and why."""

    owner: str
    reason: str
    expires: str
    given: str
    """where the waiver is written, and who gave it"""


@dataclass(frozen=True)
class FindingView:
    """One finding with its number on the page, counted from 1, the gravest first."""

    number: int
    found: MeasuredFinding
    waived: Waived | None = None

    @property
    def anchor(self) -> str:
        """Where it stands on the page."""
        return f"f{self.number}"

    @property
    def word(self) -> str:
        """The outcome as a word: fail, warn or waived."""
        return "waived" if self.found.finding.waived_by is not None else self.found.finding.severity

    @property
    def side(self) -> str:
        """Id of the side; empty where it lies on none."""
        return self.found.finding.location.side

    @property
    def second(self) -> float | None:
        """Where it is worst, file seconds."""
        return self.found.second

    @property
    def at(self) -> str:
        """The second it is worst at, for people."""
        return "" if self.second is None else clock(self.second)

    @property
    def places(self) -> list[str]:
        """All else that says where it lies."""
        at = self.found.finding.location
        window = self.found.window
        return [
            *([f"worst of {clock(window[0])} to {clock(window[1])}"] if window else []),
            *([f"track {at.track}"] if at.track is not None else []),
            *([f"radius {at.radius_mm:.1f} mm"] if at.radius_mm is not None else []),
            *([at.channel] if at.channel else []),
            *([f"line {at.line} of the delivery"] if at.line is not None else []),
        ]

    @property
    def limit(self) -> str:
        """The limit that was not kept."""
        limit, bound = self.found.finding.limit, self.found.bound
        return "" if limit is None or bound is None else number(self.found.measure, bound, limit.unit)

    @property
    def margin(self) -> str:
        """How far beyond the limit it lies."""
        finding, bound = self.found.finding, self.found.bound
        if finding.margin is None or finding.limit is None or bound is None or isinstance(finding.measured, str):
            return ""
        beyond = number(self.found.measure, abs(finding.margin), finding.limit.unit).lstrip("+")
        return f"{beyond} {'above' if finding.measured.value > bound else 'below'}"


class CheckSection(NamedTuple):
    """What one check found on one side."""

    check: str
    told: list[FindingView]
    omitted: int
    remedies: list[str]
    """told once for all of them; empty where each has its own"""

    @property
    def first(self) -> list[FindingView]:
        """Those that lie open."""
        return self.told[:OPEN]

    @property
    def rest(self) -> list[FindingView]:
        """Those that unfold."""
        return self.told[OPEN:]


class SideSection(NamedTuple):
    """What was found on one side, or in the delivery as a whole."""

    side: str
    folds: list[CheckSection]
    gone: list[CheckSection]
    """warnings that go at the clean level: they unfold from the line that counts them"""
    gone_words: str


def told(report: Report) -> list[FindingView]:
    """Give every finding of a report a number, waived ones behind all others."""
    waivers = {waiver.key: waiver for waiver in report.waivers}
    found = [MeasuredFinding(finding, finding.measure) for result in report.results for finding in result.findings]
    found.sort(key=lambda one: (one.finding.waived_by is not None, one.gravity))
    return [FindingView(count, one, _waived(one, waivers)) for count, one in enumerate(found, start=1)]


def _waived(one: MeasuredFinding, waivers: dict[str, WaiverFacts]) -> Waived | None:
    key = one.finding.waived_by
    if key is None:
        return None
    waiver = waivers.get(key)
    if waiver is None:
        return Waived(key, "", "", "")
    return Waived(waiver.owner, waiver.reason, waiver.expires or "", given(waiver))


def groups(report: Report, every: Iterable[FindingView]) -> list[SideSection]:
    """Put findings together by side, in the delivery's order, then by check, the gravest first."""
    sides = {"": "", **{side.id: gone(report, side) for side in report.sides}}
    order = (*(side.id for side in report.sides), "")
    kept, going = ({side: dict[str, list[FindingView]]() for side in order} for _ in range(2))
    for one in every:
        place = going if goes_when_clean(report, one.found) else kept
        place.setdefault(one.side, {}).setdefault(one.found.finding.check, []).append(one)
    omitted = {(result.side or "", result.check): result.findings_omitted for result in report.results}

    def folded(side: str, checks: dict[str, list[FindingView]]) -> list[CheckSection]:
        return [_fold(check, found, omitted.pop((side, check), 0)) for check, found in checks.items()]

    return [
        SideSection(side, folded(side, kept[side]), folded(side, going.get(side, {})), sides.get(side, ""))
        for side in kept
        if kept[side] or going.get(side)
    ]


def _fold(check: str, found: list[FindingView], omitted: int) -> CheckSection:
    remedies = list(dict.fromkeys(one.found.finding.remedy for one in found))
    return CheckSection(check, found, omitted, remedies if len(remedies) == 1 else [])


def matters(report: Report, every: Iterable[FindingView]) -> list[FindingView]:
    """Give the three that matter most: the gravest of as many checks and sides, failures before warnings.

    Warnings that go at the clean level are none of them.
    """
    first: dict[tuple[str, str], FindingView] = {}
    for one in every:
        if one.found.finding.waived_by is None and not goes_when_clean(report, one.found):
            first.setdefault((one.side, one.found.finding.check), one)
    return list(first.values())[:THINGS]
