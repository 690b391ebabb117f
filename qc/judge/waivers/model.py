"""Waivers: what a check finds in a place, and somebody answers for until a day. Whatever is in doubt stands."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from qc.judge.findings import is_of_all_the_side
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.report import GivenIn, WaiverFacts
from qc.plugin_api import Finding, Scope

ROUNDED_S = 0.0005
"""Reports write times to the millisecond; who copies one from there means the finding it was copied from."""
SECTOR_S = 1.0 / SECTORS_A_SECOND

Starts = Sequence[tuple[int, float]]
"""Number and start, in file seconds, of every track of a side, in order."""


@dataclass(frozen=True)
class ResolvedWaiver:
    """A waiver that fits its delivery; no track, no time: all of the side; no side: everywhere."""

    key: str
    """where it is written, "delivery.yaml:31" """
    check: str
    owner: str
    reason: str
    side: str | None = None
    tracks: frozenset[int] = frozenset()
    start_s: float | None = None
    end_s: float | None = None
    expires: date | None = None
    """the last day it holds"""
    given_in: GivenIn = "delivery"

    def holds(self, today: date | None) -> bool:
        """Whether it still holds on a day; one that expires holds on no unknown day."""
        return self.expires is None or (today is not None and today <= self.expires)

    def covers(self, check: str, finding: Finding, scope: Scope, starts: Starts = ()) -> bool:
        """Whether all of a finding of a check lies inside what is waived; whether it still holds is not asked here."""
        at = finding.location
        if check != self.check:
            return False
        # What holds several sides against each other is no business of one side's waiver.
        if self.side is not None and (scope == "delivery" or at.side != self.side):
            return False
        # What is about all of the side, or has no place, only a waiver of all of the side can mean.
        if self.is_narrow and is_of_all_the_side(finding):
            return False
        return self._on_its_tracks(finding, starts) and self._in_its_time(finding)

    @property
    def is_narrow(self) -> bool:
        """Whether it is for some tracks or times alone."""
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
    """Give from where to where a finding lies, in file seconds: all of its event, else its place; None without one."""
    if finding.stretch is not None:
        return finding.stretch.start_s, finding.stretch.end_s
    start, end = finding.location.start_s, finding.location.end_s
    return None if start is None else (start, start if end is None else end)


def _reached(finding: Finding, starts: Starts) -> set[int]:
    """Give the tracks that a finding reaches into by more than a sector; a gap belongs to the track before it."""
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
    """The waivers of a run and its day; counts what each covers, or leaves to stand since it has expired.

    With `own_only` those given in the delivery cover nothing: its sender cannot waive what is found in it.
    """

    def __init__(
        self, waivers: Sequence[ResolvedWaiver] = (), today: date | None = None, *, own_only: bool = False
    ) -> None:
        self._waivers, self._today, self._own_only = tuple(waivers), today, own_only
        self._covered: Counter[str] = Counter()

    def anew(self) -> Waivers:
        """Give the same waivers with nothing counted, for judging that is no part of the report."""
        return Waivers(self._waivers, self._today, own_only=self._own_only)

    def applied(self, check: str, finding: Finding, scope: Scope, starts: Starts = ()) -> Finding:
        """Give a finding with the key of the first waiver that covers it and holds; whoever made it has no say."""
        covering = [one for one in self._waivers if one.covers(check, finding, scope, starts)]
        holding = [one.key for one in covering if self._counts(one) and one.holds(self._today)]
        self._covered.update(holding or [one.key for one in covering])
        key = next(iter(holding), None)
        return finding if finding.waived_by == key else finding.model_copy(update={"waived_by": key})

    def _counts(self, one: ResolvedWaiver) -> bool:
        return one.given_in == "file" or not self._own_only

    def facts(self) -> tuple[WaiverFacts, ...]:
        """Tell what became of each waiver, in the order in which they are written."""
        return tuple(self._facts(one) for one in self._waivers)

    def _facts(self, one: ResolvedWaiver) -> WaiverFacts:
        covered = self._covered[one.key]
        state: Literal["used", "unused", "expired", "not_counted"] = "used" if covered else "unused"
        if not one.holds(self._today):
            state = "expired"
        if not self._counts(one):
            state = "not_counted"
        return WaiverFacts(
            key=one.key, check=one.check, side=one.side, tracks=tuple(sorted(one.tracks)), from_s=one.start_s,
            to_s=one.end_s, reason=one.reason, owner=one.owner,
            expires=None if one.expires is None else one.expires.isoformat(),
            state=state, findings=covered, given_in=one.given_in,
        )  # fmt: skip
