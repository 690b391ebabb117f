"""Findings as formats show them: those of one check folded, each with its place in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from qc.judge.findings import MeasuredFinding, every
from qc.model.quantity import clock
from qc.model.report import Report


@dataclass(frozen=True)
class CheckFindings:
    """What one check found, the gravest first."""

    check: str
    found: tuple[MeasuredFinding, ...]
    omitted: int = 0

    @property
    def gravest(self) -> MeasuredFinding:
        """The one that stands for all of them."""
        return self.found[0]

    @property
    def count(self) -> int:
        """How many there are, those that the report did not keep too."""
        return len(self.found) + self.omitted

    def first(self, most: int) -> tuple[MeasuredFinding, ...]:
        """Give a few of them: the gravest of each limit before the others of any, in the order of gravity."""
        first_of = {one.measure: index for index, one in reversed(list(enumerate(self.found)))}
        order = sorted(range(len(self.found)), key=lambda index: first_of[self.found[index].measure] != index)
        return tuple(self.found[index] for index in sorted(order[:most]))


def folds(
    report: Report, severity: str, *, by_side: bool, without: Callable[[Report, MeasuredFinding], bool] | None = None
) -> list[CheckFindings]:  # fmt: skip
    """Fold findings of one severity: one fold a check, or a check and side; in order of the gravest of each.

    `without` says which findings are told elsewhere: the warnings that go at the clean level.
    """
    kept: dict[tuple[str, str], list[MeasuredFinding]] = {}
    elsewhere: Counter[tuple[str, str]] = Counter()
    for one in every(report):
        if one.finding.severity != severity:
            continue
        if without is not None and without(report, one):
            elsewhere[one.finding.check, one.side] += 1
        else:
            kept.setdefault((one.finding.check, one.side if by_side else ""), []).append(one)
    omitted = {}
    for result in report.results:
        key = (result.check, result.side or "delivery")
        left = result.left_unwaived
        if without is not None:
            left -= result.warnings_gone_at_clean - elsewhere[key]  # of those left out, the ones told elsewhere
        if left > 0:
            omitted[key] = left
    return [
        CheckFindings(check, tuple(found), _omitted(omitted, check, found, severity))
        for (check, _), found in kept.items()
    ]


def _omitted(omitted: dict[tuple[str, str], int], check: str, found: Sequence[MeasuredFinding], severity: str) -> int:
    """Count what was left out of the report; findings are kept with failures first, so it is the mildest kind."""
    sides = {one.side for one in found}
    gravest_only = severity == "fail" and any(one.finding.severity != "fail" for one in found)
    return (
        0 if gravest_only else sum(count for (name, side), count in omitted.items() if name == check and side in sides)
    )


def place(one: MeasuredFinding, *, fully: bool = False, briefly: bool = False) -> str:
    """Say where it lies: "B 1:16.067, track 2, radius 135.0 mm"; `fully` with its window and channel.

    `briefly` is what the earlier report's places can be held against: side, second and track.
    """
    at = one.finding.location
    parts = [at.side or "the delivery"]
    if one.second is not None:
        parts[0] += f" {clock(one.second)}"
    if fully and one.window is not None:
        parts.append(f"worst of {clock(one.window[0])} to {clock(one.window[1])}")
    if at.track is not None:
        parts.append(f"track {at.track}")
    if briefly:
        return ", ".join(parts)
    if at.radius_mm is not None:
        parts.append(f"radius {at.radius_mm:.1f} mm")
    if fully and at.channel is not None:
        parts.append(at.channel)
    if at.line is not None:
        parts.append(f"line {at.line} of the delivery")
    return ", ".join(parts)
