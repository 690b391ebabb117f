"""The differences of two rulesets: values of the chain, limits, parameters and checks, and which way each differs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from qc.model.quantity import Op, parse, read
from qc.ruleset.level import UNSTATED, stated
from qc.ruleset.load import RawLimit, RawMeasure, RawParameter, Ruleset

Ops = Callable[[str, str], Op | None]
"""Check and limit key -> on which side of the limit a value must stay; None where only the check itself knows."""
Same = Callable[[str, str, str, str], bool]
"""Check, key and two values of a parameter -> whether they are the same, however they are written."""
Way = Literal["tightened", "loosened", "changed", "added", "removed", "words"]
"""Difference of a limit; "changed" is both ways at once, or one that is unclear, "words" its source alone."""
Limits = Mapping[str, Mapping[str, RawLimit]]


@dataclass(frozen=True, slots=True)
class ChainDifference:
    """A value of the chain that differs, or only its source."""

    key: str
    before: Mapping[str, str]
    after: Mapping[str, str]
    value: bool
    """whether the value differs, however it is written"""


@dataclass(frozen=True, slots=True)
class PolicyDifference:
    """A value of the policy for the recommended level that differs, or a named tip; one left out as it then is."""

    key: str
    before: Mapping[str, str]
    after: Mapping[str, str]
    moves: bool
    """whether a side would be recommended another level"""


@dataclass(frozen=True, slots=True)
class LimitDifference:
    """A limit that differs."""

    check: str
    key: str
    way: Way
    before: RawLimit | None
    after: RawLimit | None

    @property
    def name(self) -> str:
        """Name that reports use, CHECK/LIMIT."""
        return f"{self.check}/{self.key}"


@dataclass(frozen=True, slots=True)
class ParameterDifference:
    """A parameter of a check that differs; "words" where only its source does."""

    check: str
    key: str
    way: Literal["changed", "added", "removed", "words"]
    before: RawParameter | None
    after: RawParameter | None

    @property
    def name(self) -> str:
        """Name that reports use, CHECK/PARAMETER."""
        return f"{self.check}/{self.key}"


@dataclass(frozen=True, slots=True)
class CheckDifference:
    """A check that only one of the two judges, or that both put off for other reasons ("words")."""

    check: str
    way: Literal["on", "off", "words"]
    reason: str
    """why it is off in one of them; empty where that does not name it"""
    sets_level: bool
    """whether one of its limits sets the level"""


@dataclass(frozen=True, slots=True)
class MeasureDifference:
    """A limit without code that both judge, with another measurement or other words."""

    check: str
    before: RawMeasure
    after: RawMeasure

    @property
    def measure(self) -> bool:
        """Whether its limits are for another measurement."""
        return self.before.measure != self.after.measure


@dataclass(frozen=True, slots=True)
class NeedDifference:
    """Versions of a distribution, or of the tool itself, that only one of the two asks for."""

    name: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Differences:
    """All that differs between two rulesets."""

    serves: tuple[tuple[str, str], tuple[str, str]] | None
    chain: tuple[ChainDifference, ...]
    level: tuple[PolicyDifference, ...]
    limits: tuple[LimitDifference, ...]
    parameters: tuple[ParameterDifference, ...]
    checks: tuple[CheckDifference, ...]
    measures: tuple[MeasureDifference, ...]
    requires: tuple[NeedDifference, ...]


def as_written(_check: str, _key: str, before: str, after: str) -> bool:
    """Whether two values of a parameter are the same text, where its type is not at hand."""
    return before == after


def compared(before: Ruleset, after: Ruleset, ops: Ops, same: Same = as_written) -> Differences:
    """Compare two rulesets; what is off in both has no part in it but the reason."""
    return Differences(
        serves=None if before.serves == after.serves else (before.serves, after.serves),
        chain=tuple(_chain(before, after)),
        level=tuple(_level(before, after)),
        limits=tuple(_limits(judged(before), judged(after), ops)),
        parameters=tuple(_parameters(before, after, same)),
        checks=tuple(_checks(before, after)),
        measures=tuple(_measures(before, after)),
        requires=tuple(_requires(before, after)),
    )


def judged(ruleset: Ruleset) -> Limits:
    """Return the limits of every check that a ruleset judges, also of those it makes without code."""
    limits = ruleset.all_limits
    return {check: limits[check] for check in sorted(limits.keys() - ruleset.off.keys())}


def _chain(before: Ruleset, after: Ruleset) -> Iterator[ChainDifference]:
    for section, part in before.chain_rows.items():
        for name, row in part.items():
            other = after.chain_rows[section][name]
            values = [getattr(getattr(ruleset.chain, section), name) for ruleset in (before, after)]
            if values[0] != values[1] or row["source"] != other["source"]:
                yield ChainDifference(f"{section}.{name}", row, other, value=values[0] != values[1])


def _level(before: Ruleset, after: Ruleset) -> Iterator[PolicyDifference]:
    moves = before.policy.tenths != after.policy.tenths
    old, new = stated(before.level_rows), stated(after.level_rows)
    for name, row in old.items():
        if row != new[name]:
            yield PolicyDifference(f"level.{name}", row, new[name], moves and row["value"] != new[name]["value"])
    absent = {"value": "none", "source": UNSTATED}
    for name in dict.fromkeys([*before.tip_rows, *after.tip_rows]):
        row, other = before.tip_rows.get(name, absent), after.tip_rows.get(name, absent)
        if row != other:
            yield PolicyDifference(f"tips.{name}", row, other, moves=False)


def _limits(before: Limits, after: Limits, ops: Ops) -> Iterator[LimitDifference]:
    for check in sorted(before.keys() | after.keys()):
        old, new = before.get(check, {}), after.get(check, {})
        for key in dict.fromkeys([*old, *new]):
            way = _way(old.get(key), new.get(key), ops(check, key))
            if way is not None:
                yield LimitDifference(check, key, way, old.get(key), new.get(key))


def _way(before: RawLimit | None, after: RawLimit | None, op: Op | None) -> Way | None:
    """Return the way in which a limit differs; None when it does not."""
    if before is None or after is None:
        return "added" if before is None else "removed"
    orders = {_by_order(before), _by_order(after)} - {None}
    op = op or (orders.pop() if len(orders) == 1 else None)
    ways: set[Way | None] = {
        _stricter(before.warn, after.warn, op),
        _stricter(before.fail, after.fail, op),
        _earlier(before.sets_level, after.sets_level),
    } - {None}
    if not ways:
        return "words" if before.source != after.source else None
    return ways.pop() if len(ways) == 1 else "changed"


def _by_order(limit: RawLimit) -> Op | None:
    """Infer the side from a warning that comes before its failure."""
    if limit.warn is None or limit.fail is None:
        return None
    try:
        warn, fail = read(limit.warn, parse(limit.fail)[1]), parse(limit.fail)[0]
    except ValueError:
        return None
    return None if warn == fail else "<=" if warn < fail else ">="


def _stricter(before: str | None, after: str | None, op: Op | None) -> Way | None:
    """Return whether a bound is stricter or looser, or "changed" where that is unclear; None where it is the same."""
    if before is None or after is None:
        return None if before == after else _tightened(before is None)
    try:
        old, new = parse(before)[0], read(after, parse(before)[1])
    except ValueError:
        return "changed"
    if math.isclose(old, new, rel_tol=1e-12, abs_tol=0.0):
        return None
    return "changed" if op is None else _tightened(new < old if op == "<=" else new > old)


def _earlier(before: str | None, after: str | None) -> Way | None:
    """Return whether the level is set earlier than it was: by a limit at all, and at its warning."""
    order = {None: 0, "fail": 1, "warn": 2}
    return None if before == after else _tightened(order[after] > order[before])


def _tightened(yes: bool) -> Way:
    return "tightened" if yes else "loosened"


def _parameters(before: Ruleset, after: Ruleset, same: Same) -> Iterator[ParameterDifference]:
    """Yield the parameters that differ, also those of a check that only one of the two judges."""
    parts = [
        {check: own for check, own in ruleset.parameters.items() if check not in ruleset.off}
        for ruleset in (before, after)
    ]
    for check in sorted(parts[0].keys() | parts[1].keys()):
        old, new = (part.get(check, {}) for part in parts)
        for key in dict.fromkeys([*old, *new]):
            was, is_now = old.get(key), new.get(key)
            if was is None or is_now is None:
                yield ParameterDifference(check, key, "added" if was is None else "removed", was, is_now)
            elif not same(check, key, was.value, is_now.value):
                yield ParameterDifference(check, key, "changed", was, is_now)
            elif was.source != is_now.source:
                yield ParameterDifference(check, key, "words", was, is_now)


def _checks(before: Ruleset, after: Ruleset) -> Iterator[CheckDifference]:
    old, new = judged(before), judged(after)
    for check in sorted(old.keys() ^ new.keys()):
        way: Literal["on", "off"] = "on" if check in new else "off"
        reason = (before if way == "on" else after).off.get(check, "")
        limits = (new if way == "on" else old)[check].values()
        yield CheckDifference(check, way, reason, any(limit.sets_level for limit in limits))
    for check in sorted(before.off.keys() & after.off.keys()):
        if before.off[check] != after.off[check]:
            yield CheckDifference(check, "words", after.off[check], sets_level=False)


def _measures(before: Ruleset, after: Ruleset) -> Iterator[MeasureDifference]:
    both = before.measures.keys() & after.measures.keys() & judged(before).keys() & judged(after).keys()
    for check in sorted(both):
        old, new = before.measures[check], after.measures[check]
        if (old.measure, old.title, old.why, old.remedy) != (new.measure, new.title, new.why, new.remedy):
            yield MeasureDifference(check, old, new)


def _requires(before: Ruleset, after: Ruleset) -> Iterator[NeedDifference]:
    asked = [{"the tool": ruleset.needs_tool, **ruleset.requires} for ruleset in (before, after)]
    for name in dict.fromkeys([*asked[0], *asked[1]]):
        old, new = asked[0].get(name), asked[1].get(name)
        if old != new:
            yield NeedDifference(name, old, new)
