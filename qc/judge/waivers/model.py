"""Waivers: findings of a check in a place for which an owner takes responsibility; in doubt a finding is not waived."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from qc.judge.findings import is_of_all_the_side
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.report import GivenIn, WaiverFacts
from qc.plugin_base import Finding, Scope

ROUNDED_S = 0.0005
"""Tolerance in s: reports round times to the millisecond, and a copied time must cover its finding."""
SECTOR_S = 1.0 / SECTORS_A_SECOND

Starts = Sequence[tuple[int, float]]
"""Number and start, in file seconds, of every track of a side, in order."""


@dataclass(frozen=True)
class ResolvedWaiver:
    """A waiver that fits its delivery. Without tracks and times it covers the whole side, without a side every side."""

    key: str
    """file and line it is written in, "delivery.yaml:31" """
    check: str
    owner: str
    reason: str
    side: str | None = None
    tracks: frozenset[int] = frozenset()
    start_s: float | None = None
    end_s: float | None = None
    expires: date | None = None
    """last day of its validity"""
    given_in: GivenIn = "delivery"

    def holds(self, today: date | None) -> bool:
        """Whether the waiver is valid on a day; one that expires is not valid on an unknown day."""
        return self.expires is None or (today is not None and today <= self.expires)

    def covers(self, check: str, finding: Finding, scope: Scope, starts: Starts = ()) -> bool:
        """Whether a finding of a check lies completely inside the waived place; validity is not considered."""
        at = finding.location
        if check != self.check:
            return False
        # a check that compares sides cannot be waived for one side
        if self.side is not None and (scope == "delivery" or at.side != self.side):
            return False
        # a finding of the whole side, or without a place, needs a waiver of the whole side
        if self.is_narrow and is_of_all_the_side(finding):
            return False
        return self._on_its_tracks(finding, starts) and self._in_its_time(finding)

    @property
    def is_narrow(self) -> bool:
        """Whether the waiver is limited to some tracks or times."""
        return bool(self.tracks) or self.start_s is not None or self.end_s is not None

    def _on_its_tracks(self, finding: Finding, starts: Starts) -> bool:
        if not self.tracks:
            return True
        return finding.location.track in self.tracks and _reached(finding, starts) <= self.tracks

    def _in_its_time(self, finding: Finding) -> bool:
        if self.start_s is None and self.end_s is None:
            return True
        extent = _extent(finding)
        if extent is None:
            return False
        first, last = extent
        begins = self.start_s is None or first >= self.start_s - ROUNDED_S
        return begins and (self.end_s is None or last <= self.end_s + ROUNDED_S)


def _extent(finding: Finding) -> tuple[float, float] | None:
    """Return start and end of a finding's event or place in file seconds, or None without a place."""
    if finding.stretch is not None:
        return finding.stretch.start_s, finding.stretch.end_s
    start, end = finding.location.start_s, finding.location.end_s
    return None if start is None else (start, start if end is None else end)


def _reached(finding: Finding, starts: Starts) -> set[int]:
    """Return the tracks that a finding covers by more than a sector; a gap belongs to the track before it."""
    extent = _extent(finding)
    if extent is None:
        return set()
    first, last = extent
    bounds = [second for _, second in starts[1:]] + [float("inf")]
    begins = [-float("inf"), *bounds[:-1]]
    return {
        number
        for (number, _), begin, end in zip(starts, begins, bounds, strict=True)
        if first < end - SECTOR_S and last > begin + SECTOR_S
    }


class Waivers:
    """The waivers of a run and its day, and the number of findings that each covers, or would if it had not expired.

    With `own_only` waivers in the delivery cover nothing: its sender cannot waive the findings.
    """

    def __init__(
        self, waivers: Sequence[ResolvedWaiver] = (), today: date | None = None, *, own_only: bool = False
    ) -> None:
        self._waivers, self._today, self._own_only = tuple(waivers), today, own_only
        self._covered: Counter[str] = Counter()

    def anew(self) -> Waivers:
        """Return the same waivers with zero counts, for judging that is not part of the report."""
        return Waivers(self._waivers, self._today, own_only=self._own_only)

    def applied(self, check: str, finding: Finding, scope: Scope, starts: Starts = ()) -> Finding:
        """Return a finding with the key of the first valid waiver that covers it; a key set by the check is ignored."""
        covering = [waiver for waiver in self._waivers if waiver.covers(check, finding, scope, starts)]
        valid = [waiver.key for waiver in covering if self._counts(waiver) and waiver.holds(self._today)]
        self._covered.update(valid or [waiver.key for waiver in covering])
        key = next(iter(valid), None)
        return finding if finding.waived_by == key else finding.model_copy(update={"waived_by": key})

    def _counts(self, waiver: ResolvedWaiver) -> bool:
        return waiver.given_in == "file" or not self._own_only

    def facts(self) -> tuple[WaiverFacts, ...]:
        """Return the use of each waiver, in the order in which they are written."""
        return tuple(self._facts(waiver) for waiver in self._waivers)

    def _facts(self, waiver: ResolvedWaiver) -> WaiverFacts:
        covered = self._covered[waiver.key]
        state: Literal["used", "unused", "expired", "not_counted"] = "used" if covered else "unused"
        if not waiver.holds(self._today):
            state = "expired"
        if not self._counts(waiver):
            state = "not_counted"
        return WaiverFacts(
            key=waiver.key, check=waiver.check, side=waiver.side, tracks=tuple(sorted(waiver.tracks)),
            from_s=waiver.start_s, to_s=waiver.end_s, reason=waiver.reason, owner=waiver.owner,
            expires=None if waiver.expires is None else waiver.expires.isoformat(),
            state=state, findings=covered, given_in=waiver.given_in,
        )  # fmt: skip
