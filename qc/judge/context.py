"""What a check sees while it judges one side."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from qc.groove.geometry.cut import MEASURES
from qc.groove.level.events import PlacedEvent
from qc.model.cutting_chain import Chain
from qc.model.errors import NotMeasuredError
from qc.model.quantity import Op, clock, convert, margin, meets, show
from qc.model.report import Stretch
from qc.plugin_api import At, Check, Finding, Limit, Location, Need, Quantity, Severity

R = TypeVar("R")
Field = tuple[str | int, ...]
"""Where something stands in what the delivery file says about a side: ("tracks", 1, "isrc")."""


class BrokenNeedError(Exception):
    """A measurement is missing because the plugin that measures it raised."""


@dataclass(frozen=True)
class SideEvidence:
    """Everything known of one side when it is judged."""

    side: str
    chain: Chain
    declared: Mapping[str, Any]
    requested: float | None = None
    """the cut level that was asked for, dB, by the delivery or for this run"""
    results: Mapping[type[Need[Any]], Any] = dataclasses.field(default_factory=dict)
    broken: Mapping[type[Need[Any]], str] = dataclasses.field(default_factory=dict)
    """needs whose plugin raised, with its sentence"""
    quantities: Mapping[str, Quantity] = dataclasses.field(default_factory=dict)
    publishers: Mapping[str, type[Need[Any]]] = dataclasses.field(default_factory=dict)
    windows: Mapping[str, At] = dataclasses.field(default_factory=dict)
    events: Callable[[str, Limit], Sequence[PlacedEvent]] = lambda *_: ()
    """every stretch in which a measurement does not keep to a limit; empty for what is one number and no more"""
    clean_of: frozenset[tuple[str, str]] = frozenset()
    """check and measurement of each limit that sets the level and warns nowhere at the clean level, a lower one"""
    missing: str = ""
    """why nothing was measured, when the audio itself is at fault"""
    line: int | None = None
    """line of the audio in the delivery file"""
    line_of: Callable[[tuple[str | int, ...]], int | None] = lambda _: None
    """line of anything else that the delivery file says about the side: ("tracks", 1, "isrc")"""
    place: Callable[[At], At] = lambda at: at
    delivery: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    """what the delivery declares of itself"""
    others: Mapping[str, SideEvidence] = dataclasses.field(default_factory=dict)
    """source -> evidence, for a check of scope delivery"""


class Context:
    """The contract's CheckContext for one check; remembers which numbers the check looked at."""

    def __init__(self, evidence: SideEvidence, check: Check[Any]) -> None:
        self.looked_at: dict[str, Quantity] = {}
        self.notes: list[str] = []
        self._evidence, self._check = evidence, check

    @property
    def side(self) -> str:
        """Id of the side."""
        return self._evidence.side

    @property
    def chain(self) -> Chain:
        """What is assumed of the cut."""
        return self._evidence.chain

    @property
    def declared(self) -> Mapping[str, Any]:
        """The side as the delivery declares it."""
        return self._evidence.declared

    @property
    def requested_level(self) -> float | None:
        """The cut level that was asked for, dB."""
        return self._evidence.requested

    @property
    def delivery(self) -> Mapping[str, Any]:
        """The delivery as it declares itself."""
        return self._evidence.delivery

    @property
    def sources(self) -> tuple[str, ...]:
        """Every source there is to judge."""
        return tuple(self._evidence.others) or (f"side:{self.side}",)

    def of(self, source: str) -> Context:
        """Give the context of one source, for the same check; raises NotMeasuredError when there is none."""
        if source == f"side:{self.side}":
            return self
        if source not in self._evidence.others:
            raise NotMeasuredError(f"there is no {source} here")
        return Context(self._evidence.others[source], self._check)

    def note(self, sentence: str) -> None:
        """Keep a sentence that is no fault."""
        self.notes.append(sentence)

    def __getitem__(self, need: type[Need[R]]) -> R:
        """Give the result of a need; raises NotMeasuredError, or BrokenNeedError when its plugin raised."""
        if need in self._evidence.broken:
            raise BrokenNeedError(f"{need.id}: {self._evidence.broken[need]}")
        if need not in self._evidence.results:
            raise NotMeasuredError(self._evidence.missing or f"{need.id} was not measured")
        result: R = self._evidence.results[need]
        return result

    def measured(self, name: str) -> Quantity:
        """Give a published number; raises as `__getitem__` does."""
        quantity = self._evidence.quantities.get(name)
        if quantity is None:
            publisher = self._evidence.publishers.get(name)
            if publisher is not None and publisher in self._evidence.broken:
                raise BrokenNeedError(f"{publisher.id}: {self._evidence.broken[publisher]}")
            raise NotMeasuredError(self._evidence.missing or f"{name} has no value on this side")
        self.looked_at[name] = quantity
        return quantity

    def judge(self, name: str, limit: Limit, *, op: Op, of: str = "", remedy: str = "") -> Iterator[Finding]:
        """Hold a published number against a limit: a finding for every event, else at most one, the graver one."""
        quantity = self.measured(name)
        events = self._evidence.events(name, limit) if name in MEASURES and MEASURES[name].op == op else ()
        if not events:
            location = self._location(quantity.at, self._evidence.windows.get(name))
            for found in self._held(quantity, limit, op, of or name, location, name, remedy):
                yield found.model_copy(update={"measure": name})
        for event in sorted(events, key=lambda event: event.measured.value, reverse=op == "<="):  # the worst first
            location = self._location(event.measured.at, event.window)
            for found in self._held(event.measured, limit, op, of or name, location, name, remedy):
                yield _told_as_event(found, name, event)

    def hold(
        self, quantity: Quantity, limit: Limit, *, op: Op, of: str, field: Field = (), remedy: str = ""
    ) -> Iterator[Finding]:
        """Hold a number that the check itself worked out against a limit; at most one finding, at its own place."""
        key = self._limit_key(limit)
        grades = {grade: getattr(limit, grade) for grade in ("warn", "fail")}
        known = {grade: convert(at, limit.unit, quantity.unit) for grade, at in grades.items() if at is not None}
        limit = limit.model_copy(update={"unit": quantity.unit, **known})
        location = self._location(quantity.at, None)
        if field:
            location = location.model_copy(update=self._in_the_file(field))
        yield from self._held(quantity, limit, op, of, location, key, remedy)

    def _limit_key(self, limit: Limit) -> str:
        """Give the name of one of the check's own limits, also where the check has let a grade of it go."""
        own = [(name, one) for name, one in self._check.limits if isinstance(one, Limit)]
        itself = (name for name, one in own if one is limit)
        changed = (name for name, one in own if one.origin == limit.origin and one.source == limit.source)
        return next(itself, next(changed, ""))

    def _held(
        self, quantity: Quantity, limit: Limit, op: Op, of: str, location: Location, key: str, remedy: str
    ) -> Iterator[Finding]:
        grades: tuple[tuple[Severity, float | None], ...] = (("fail", limit.fail), ("warn", limit.warn))
        for severity, bound in grades:
            if bound is not None and not meets(quantity.value, bound, op, quantity.unit):
                side = "above" if op == "<=" else "below"
                value, than = _apart(key, quantity.value, bound, quantity.unit)
                yield self._finding(
                    severity,
                    f"{_capital(of)} is {quantity.bound or ''}{value}, {side} {than}",
                    measured=quantity,
                    location=location,
                    limit=limit,
                    over=margin(quantity.value, bound, op),
                    key=key,
                    remedy=remedy,
                )
                return

    def found(
        self,
        severity: Severity,
        message: str,
        *,
        measured: Quantity | str,
        at: At | None = None,
        field: Field = ("audio",),
        remedy: str = "",
    ) -> Finding:
        """Make a finding that no limit gave."""
        return self._finding(
            severity,
            message,
            measured=measured,
            location=self._location(at, None).model_copy(update=self._in_the_file(field)),
            limit=None,
            over=None,
            key="",
            remedy=remedy,
        )

    def _in_the_file(self, field: Field) -> dict[str, str | int | None]:
        """Say where in the delivery file a field of the side stands."""
        line = self._evidence.line if field == ("audio",) else self._evidence.line_of(field)
        return {"field": ".".join(map(str, field)), "line": line}

    def _location(self, at: At | None, window: At | None) -> Location:
        """Place a finding: a share or a drive over its window, everything else over its sector."""
        if at is None:
            return Location(side=self.side)
        track = at.track
        at = self._evidence.place(at)
        if track is not None:
            at = at.model_copy(update={"track": track})
        start, end = (at.start_s, at.end_s) if window is None else (window.start_s, window.end_s)
        return Location(
            side=self.side,
            track=at.track,
            channel=at.channel,
            start_s=start,
            end_s=end,
            radius_mm=at.radius_mm,
        )

    def _finding(
        self, severity: Severity, message: str, *, measured: Quantity | str, location: Location,
        limit: Limit | None, over: float | None, key: str, remedy: str,
    ) -> Finding:  # fmt: skip
        # By where and what it is and never by its words or numbers, which change with every redelivery.
        parts = (self._check.id, key, location.side, str(location.track), str(location.channel), location.field or "")
        return Finding(
            check=self._check.id,
            severity=severity,
            message=message,
            measured=measured,
            limit=limit,
            margin=over,
            location=location,
            remedy=remedy or self._check.remedy,
            sources=tuple(part.strip() for part in limit.source.split(";")) if limit else (),
            fingerprint=_digest(parts),
        )


def _digest(parts: Sequence[str]) -> str:
    return hashlib.blake2b("|".join(parts).encode(), digest_size=8).hexdigest()


def told_apart(findings: Sequence[Finding]) -> list[Finding]:
    """Give each of several findings alike a fingerprint of its own, counted as they pass; the order stays."""
    given = list(findings)
    seen: dict[str, int] = {}
    for i in sorted(range(len(given)), key=lambda i: given[i].location.start_s or 0.0):
        alike = given[i].fingerprint
        count = seen[alike] = seen.get(alike, 0) + 1
        if count > 1:
            given[i] = given[i].model_copy(update={"fingerprint": _digest((alike, str(count)))})
    return given


def _told_as_event(found: Finding, measure: str, event: PlacedEvent) -> Finding:
    """Add to a finding the stretch of its event."""
    start, end = event.stretch.start_s, event.stretch.end_s
    assert start is not None  # every event has its place
    assert end is not None
    update: dict[str, object] = {"measure": measure, "stretch": Stretch(start_s=start, end_s=end)}
    if event.stretch != event.measured.at:
        update["message"] = f"{found.message}, from {clock(start)} to {clock(end)}"
    return found.model_copy(update=update)


def _apart(name: str, value: float, bound: float, unit: str) -> tuple[str, str]:
    """Write a value and the bound it breaks for people; what rounds to the same gets as many digits as it takes."""
    shown, than = _shown(name, value, unit), _shown(name, bound, unit)
    if shown == than:
        factor, after = (100.0, " %") if name.endswith("_share") else (1.0, "" if unit == "1" else f" {unit}")
        digits = (f"{factor * value:.{n}g}" for n in range(3, 18))
        shown = next(text for text in digits if float(text) != float(f"{factor * bound:.12g}")) + after
    return shown, than


def _shown(name: str, value: float, unit: str) -> str:
    """Write a value for people; a share as a percentage."""
    return f"{100.0 * value:.1f} %" if name.endswith("_share") else show(value, unit)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
