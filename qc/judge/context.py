"""The data of a side for a check, and the findings that the check makes."""

from __future__ import annotations

import copy
import dataclasses
import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from qc.dsp.samples.own_copy import own_copy
from qc.groove.geometry.cut import MEASURES
from qc.groove.level.events import PlacedEvent
from qc.groove.level.groove_at import groove_copy
from qc.groove.level.rows import LevelRow
from qc.groove.level.side_at_level import UNITS, WorkedSide
from qc.judge.accepted import accepted_quantity
from qc.model.cutting_chain import Chain
from qc.model.errors import NotMeasuredError
from qc.model.groove import Groove
from qc.model.quantity import Op, clock, convert, is_unit, margin, meets, show, validated_copy, with_unit
from qc.model.report import Stretch
from qc.plugin_base import At, Check, Finding, Limit, Location, Need, Quantity, Severity
from qc.text.numbers import is_share, percent
from qc.text.sanitize import shown
from qc.text.suggest import meant

R = TypeVar("R")
Field = tuple[str | int, ...]
"""Key path within the entry of a side in the delivery file: ("tracks", 1, "isrc")."""


class BrokenNeedError(Exception):
    """Raised on access to a measurement whose plugin failed; the text names the need and the reason."""


def no_level(row: LevelRow) -> Quantity:
    """Raise NotMeasuredError: a side without a groove has no level."""
    raise NotMeasuredError(f"the side has no groove, and so no cut level for {row.measure}")


@dataclass(frozen=True)
class SideEvidence:
    """All data of one side at the judged level."""

    side: str
    chain: Chain
    declared: Mapping[str, Any]
    requested: float | None = None
    """cut level in dB requested by the delivery or for this run"""
    results: Mapping[type[Need[Any]], Any] = dataclasses.field(default_factory=dict)
    broken: Mapping[type[Need[Any]], str] = dataclasses.field(default_factory=dict)
    """need whose plugin failed -> the reason, a sentence"""
    quantities: Mapping[str, Quantity] = dataclasses.field(default_factory=dict)
    earlier: Mapping[str, Quantity] = dataclasses.field(default_factory=dict)
    """the numbers of the same side in the baseline report"""
    publishers: Mapping[str, type[Need[Any]]] = dataclasses.field(default_factory=dict)
    windows: Mapping[str, At] = dataclasses.field(default_factory=dict)
    events: Callable[[str, Limit], Sequence[PlacedEvent]] = lambda *_: ()
    """every stretch in which a measurement does not keep a limit; empty for one number of the whole side"""
    clean_of: frozenset[tuple[str, str]] = frozenset()
    """check and measurement of each limit that sets the level and warns nowhere at the clean level, a lower one"""
    missing: str = ""
    """reason why nothing was measured, where the audio is at fault"""
    line: int | None = None
    """line of the audio in the delivery file"""
    line_of: Callable[[tuple[str | int, ...]], int | None] = lambda _: None
    """line of another key of the side in the delivery file: ("tracks", 1, "isrc")"""
    level_for: Callable[[LevelRow], Quantity] = no_level
    """the highest cut level, dB, at which the value of a limit that sets the level holds by itself"""
    place: Callable[[At], At] = lambda at: at
    delivery: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    """the delivery file without its sides"""
    others: Mapping[str, SideEvidence] = dataclasses.field(default_factory=dict)
    """source -> evidence, for a check of scope delivery"""


class Comparison(Iterator[Finding]):
    """The findings of a comparison with a limit, and whether the check has taken them."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        self._left = iter(findings)
        self.unread = bool(findings)

    def __next__(self) -> Finding:
        """Return the next finding."""
        self.unread = False
        return next(self._left)


class Context:
    """The CheckContext of one check, which records the numbers that the check reads."""

    def __init__(self, evidence: SideEvidence, check: Check[Any]) -> None:
        self.looked_at: dict[str, Quantity] = {}
        self.notes: list[str] = []
        self.broken = ""
        """why a measurement that the check asked for failed, also where the check goes on without it"""
        self.comparisons: list[Comparison] = []
        self._evidence, self._check = evidence, check
        self._own: dict[type[Need[Any]], Any] = {}
        """this check's copies of the results that it has read"""

    @property
    def side(self) -> str:
        """Id of the side."""
        return self._evidence.side

    @property
    def chain(self) -> Chain:
        """The assumed chain from the file to the stylus."""
        return self._evidence.chain

    @cached_property
    def declared(self) -> Mapping[str, Any]:
        """The entry of the side in the delivery file, a copy of this check's own."""
        return copy.deepcopy(self._evidence.declared)

    @property
    def requested_level(self) -> float | None:
        """The requested cut level in dB."""
        return self._evidence.requested

    @cached_property
    def delivery(self) -> Mapping[str, Any]:
        """The delivery file without its sides, a copy of this check's own."""
        return copy.deepcopy(self._evidence.delivery)

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources that can be judged."""
        return tuple(self._evidence.others) or (f"side:{self.side}",)

    def of(self, source: str) -> Context:
        """Return the context of a source for the same check; raises NotMeasuredError where it does not exist."""
        if source == f"side:{self.side}":
            return self
        if source not in self._evidence.others:
            raise NotMeasuredError(f"there is no {source} here")
        other = Context(self._evidence.others[source], self._check)
        other.comparisons = self.comparisons
        return other

    def note(self, sentence: str) -> None:
        """Add a remark that is no finding; raises TypeError for what is no text."""
        if type(sentence) is not str:
            raise TypeError(f"a note is a sentence, not a value of type {type(sentence).__name__}")
        self.notes.append(sentence)

    def __getitem__(self, need: type[Need[R]]) -> R:
        """Return the result of a need; raises NotMeasuredError, or BrokenNeedError when its plugin failed."""
        if need in self._evidence.broken:
            raise self._broken(need)
        if need not in self._evidence.results:
            raise NotMeasuredError(self._evidence.missing or f"{need.id} was not measured")
        if need not in self._own:
            self._own[need] = _copied(self._evidence.results[need])
        own: R = self._own[need]
        return own

    def measured(self, name: str) -> Quantity:
        """Return a published number; raises as `__getitem__` does, and LookupError where nothing publishes it."""
        quantity = self._evidence.quantities.get(name)
        if quantity is None:
            publisher = self._evidence.publishers.get(name)
            if publisher is not None and publisher in self._evidence.broken:
                raise self._broken(publisher)
            self._refuse_unpublished(name, publisher)
            raise NotMeasuredError(self._evidence.missing or f"{name} has no value on this side")
        self.looked_at[name] = quantity
        return own_copy(quantity)

    def earlier(self, name: str) -> Quantity | None:
        """Return a published number of the same side in the baseline report; None where it is not there."""
        return own_copy(self._evidence.earlier.get(name))

    def _broken(self, need: type[Need[Any]]) -> BrokenNeedError:
        """Return the error of a need that failed; the check is an error even if it goes on without it."""
        self.broken = f"{need.id}: {self._evidence.broken[need]}"
        return BrokenNeedError(self.broken)

    def _refuse_unpublished(self, name: str, publisher: type[Need[Any]] | None) -> None:
        """Raise LookupError for a name without a value that nothing publishes, or that belongs to the sides."""
        if self._evidence.others:
            raise LookupError(f'"{shown(str(name))}" is a number of a side; read it from ctx.of(source)')
        if self._evidence.publishers and publisher is None and name not in UNITS and not name.startswith("audio."):
            published = {*UNITS, *self._evidence.quantities, *self._evidence.publishers}
            raise LookupError(f'nothing publishes "{shown(str(name))}"; {meant(str(name), published)}')

    def judge(self, name: str, limit: Limit, *, op: Op, of: str = "", remedy: str = "") -> Iterator[Finding]:
        """Compare a published number with a limit; one finding for each event, else at most one, the more severe."""
        return self._compare(self._judge(name, limit, op, of, remedy))

    def _judge(self, name: str, limit: Limit, op: Op, of: str, remedy: str) -> Iterator[Finding]:
        quantity = self.measured(name)
        limit = _in_unit(limit, quantity.unit, op)
        events = self._evidence.events(name, limit) if name in MEASURES and MEASURES[name].op == op else ()
        if not events:
            location = self._location(quantity.at, self._evidence.windows.get(name))
            for found in self._compared(quantity, limit, op, of or name, location, name, remedy):
                yield found.model_copy(update={"measure": name})
        for event in sorted(events, key=lambda event: event.measured.value, reverse=op == "<="):  # the worst first
            location = self._location(event.measured.at, event.window)
            for found in self._compared(event.measured, limit, op, of or name, location, name, remedy):
                yield _with_event(found, name, event)

    def hold(
        self, quantity: Quantity, limit: Limit, *, op: Op, of: str, field: Field = (), remedy: str = ""
    ) -> Iterator[Finding]:
        """Compare a number that the check computed with a limit; at most one finding, at the number's place."""
        return self._compare(self._hold(quantity, limit, op, of, field, remedy))

    def _hold(self, quantity: Quantity, limit: Limit, op: Op, of: str, field: Field, remedy: str) -> Iterator[Finding]:
        quantity = accepted_quantity(quantity, "what is compared with a limit")
        key = self._limit_key(limit)
        limit = _in_unit(limit, quantity.unit, op)
        location = self._location(quantity.at, None)
        if field:
            location = location.model_copy(update=self._in_the_file(field))
        yield from self._compared(quantity, limit, op, of, location, key, remedy)

    def _compare(self, findings: Iterator[Finding]) -> Comparison:
        """Compare at once, so that an error is one also where the check drops what it gets."""
        made = Comparison(list(findings))
        self.comparisons.append(made)
        return made

    def _limit_key(self, limit: Limit) -> str:
        """Return the name of one of the check's own limits, also of a copy with one grade removed."""
        own = [(name, value) for name, value in self._check.limits if isinstance(value, Limit)]
        itself = (name for name, value in own if value is limit)
        changed = (name for name, value in own if value.origin == limit.origin and value.source == limit.source)
        return next(itself, next(changed, ""))

    def _compared(
        self, quantity: Quantity, limit: Limit, op: Op, of: str, location: Location, key: str, remedy: str
    ) -> Iterator[Finding]:
        grades: tuple[tuple[Severity, float | None], ...] = (("fail", limit.fail), ("warn", limit.warn))
        for severity, bound in grades:
            if bound is not None and not meets(quantity.value, bound, op, quantity.unit):
                side = "above" if op == "<=" else "below"
                value, than = _apart(key, quantity.value, bound, quantity.unit)
                yield self._finding(
                    severity,
                    f"{_capital(of)} is {quantity.prefix}{value}, {side} {than}",
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
        """Return a finding without a limit."""
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

    def of_text(self, message: str, text: str) -> Finding:
        """Return the finding of a text in the delivery file that cannot be judged, at its line where it is found."""
        count = Quantity(value=len(text), unit="1")
        place = _place_of(text, self.declared if self.side else self.delivery)
        return self.found("fail", message, measured=count, field=place, remedy="Shorten it.")

    def _in_the_file(self, field: Field) -> dict[str, str | int | None]:
        """Return the field and line of a key of the side in the delivery file."""
        line = self._evidence.line if field == ("audio",) else self._evidence.line_of(field) if field else None
        return {"field": ".".join(map(str, field)) or None, "line": line}

    def _location(self, at: At | None, window: At | None) -> Location:
        """Return the location of a finding: the window of a share or a drive, else the sector."""
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
        # built from place and kind only: words and numbers change with every redelivery
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


def _copied(result: Any) -> Any:
    """Return a result for one check, which shares no array that can be written with that of any other."""
    if isinstance(result, WorkedSide):
        return result.own_copy()
    return groove_copy(result) if isinstance(result, Groove) else own_copy(result)


def _place_of(text: str, data: Any) -> Field:
    """Return the path of a text in what a side declares; empty where it is not there as it is."""
    entries = data.items() if isinstance(data, Mapping) else enumerate(data) if isinstance(data, list | tuple) else ()
    for key, value in entries:
        if value == text:
            return (key,)
        if place := _place_of(text, value):
            return (key, *place)
    return ()


def _in_unit(limit: Limit, unit: str, op: Op) -> Limit:
    """Return a limit in the unit of the number that it is compared with.

    Raises TypeError or ValueError for what is no limit or no operator, or where the units do not convert.
    """
    if not isinstance(limit, Limit):
        raise TypeError(f"a number is compared with a Limit, not with a value of type {type(limit).__name__}")
    if op not in ("<=", ">="):
        raise ValueError(f'the operator is "{shown(str(op))}"; write "<=" for a maximum or ">=" for a minimum')
    limit = validated_copy(Limit, limit)
    if not is_unit(limit.unit):
        raise ValueError(f'the limit has the unit "{shown(limit.unit)}", which is not known')
    grades = {grade: getattr(limit, grade) for grade in ("warn", "fail")}
    converted = {grade: convert(at, limit.unit, unit) for grade, at in grades.items() if at is not None}
    return limit if limit.unit == unit else limit.model_copy(update={"unit": unit, **converted})


def _digest(parts: Sequence[str]) -> str:
    return hashlib.blake2b("|".join(parts).encode(), digest_size=8).hexdigest()


def with_distinct_fingerprints(findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings with distinct fingerprints, equal ones numbered in order of time; the order is unchanged."""
    given = list(findings)
    seen: dict[str, int] = {}
    for i in sorted(range(len(given)), key=lambda i: given[i].location.start_s or 0.0):
        alike = given[i].fingerprint
        count = seen[alike] = seen.get(alike, 0) + 1
        if count > 1:
            given[i] = given[i].model_copy(update={"fingerprint": _digest((alike, str(count)))})
    return given


def _with_event(found: Finding, measure: str, event: PlacedEvent) -> Finding:
    """Return a finding with the stretch of its event."""
    start, end = event.stretch.start_s, event.stretch.end_s
    assert start is not None  # every event has a place
    assert end is not None
    update: dict[str, object] = {"measure": measure, "stretch": Stretch(start_s=start, end_s=end)}
    if event.stretch != event.measured.at:
        update["message"] = f"{found.message}, from {clock(start)} to {clock(end)}"
    return found.model_copy(update=update)


def _apart(name: str, value: float, bound: float, unit: str) -> tuple[str, str]:
    """Format a value and the limit it breaks, with enough digits to make the two differ."""
    written, than = _shown(name, value, unit), _shown(name, bound, unit)
    if written == than:
        factor, behind = (100.0, "%") if is_share(name, unit) else (1.0, unit)
        digits = (f"{factor * value:.{n}g}" for n in range(3, 18))
        written = with_unit(next(text for text in digits if float(text) != float(f"{factor * bound:.12g}")), behind)
    return written, than


def _shown(name: str, value: float, unit: str) -> str:
    """Format a value for the reader; a share as a percentage."""
    return percent(value) if is_share(name, unit) else show(value, unit)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
