"""Bind limits and parameters to checks: convert each limit of a ruleset to a number in the unit of its measurement."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from pydantic import ValidationError

from qc.groove.geometry.cut import FOLLOWING, rises
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.judge.parameters import read_parameters
from qc.judge.yaml_checks import made
from qc.model.cutting_chain import NamedTip
from qc.model.errors import FAULTS, PluginError, RulesetError
from qc.model.names import limit_key
from qc.model.parameters import is_limit
from qc.model.quantity import meets, parse, read, with_unit
from qc.plugin_base import Check, Judged, Limit
from qc.plugin_host.places import place_of
from qc.plugin_host.runner import Runner
from qc.ruleset.load import RawLimit, Ruleset
from qc.text.exceptions import exception_line
from qc.text.sanitize import plain_fault, shown
from qc.text.suggest import meant

GROOVE = "groove."
"""Prefix of most measurements that depend on the level."""
OF_THE_CLASS = {
    "id", "title", "why", "how", "remedy", "blind_to", "sensitivity", "client", "scope", "needs", "judges", "waivable",
    "explains", "subject",
}  # fmt: skip
"""Attributes of a check that are those of its class, the same for every run."""


@dataclass(frozen=True)
class Bound:
    """The checks of a run with their limits, by id, and the limits, policy and tips of the level search."""

    checks: tuple[Check[Any], ...]
    rows: tuple[LevelRow, ...]
    policy: LevelPolicy = EDGE
    tips: tuple[NamedTip, ...] = ()
    """replay tips for each of which a report states the level"""
    broken: Mapping[str, str] = field(default_factory=dict)
    """check id -> reason, for each check of the ruleset that is left out because its own code failed"""

    def refuse_broken(self) -> Bound:
        """Return this; raises PluginError where a check is broken, for commands whose result could not say so."""
        for check_id, why in self.broken.items():
            raise PluginError(f'the check "{check_id}": {why}')
        return self


class _BrokenCheckError(Exception):
    """Raised for a check that cannot be bound, whatever the ruleset says; the text is the reason."""


def bind(
    ruleset: Ruleset, checks: Mapping[str, type[Check[Any]]], units: Mapping[str, str], lost: Collection[str] = (),
    runner: Runner | None = None, of_groove: Collection[str] = (),
) -> Bound:  # fmt: skip
    """Bind every check that the ruleset names and does not turn off, except those `lost` with a plugin.

    `checks` are the installed ones by id, `units` maps every measurement to its unit; checks that the ruleset itself
    defines, without code, are bound like any other. `of_groove` are the measurements that plugins derive from the
    groove, which can set the level. A check whose own code fails is in `broken`. Raises RulesetError, "FILE:LINE: ...",
    where the ruleset does not fit the checks.
    """
    checks = {**checks, **made(ruleset, checks, units, lost)}
    for check_id, origin in {**ruleset.origins, **ruleset.off_origins}.items():
        if check_id not in checks and check_id not in lost:
            raise RulesetError(f'{origin}: no check is called "{shown(check_id)}"; {meant(check_id, checks)}')
    bound: list[Check[Any]] = []
    rows: list[LevelRow] = []
    broken: dict[str, str] = {}
    for check_id in sorted(set(ruleset.all_limits) - set(ruleset.off) - set(lost)):
        kind = checks[check_id]
        try:
            check, more = _bind_check(ruleset, kind, units, of_groove, runner or Runner())
        except _BrokenCheckError as why:
            broken[check_id] = str(why)
        else:
            bound.append(check)
            rows += more
    return Bound(tuple(bound), tuple(rows), ruleset.policy, ruleset.tips, broken)


def _bind_check(
    ruleset: Ruleset, kind: type[Check[Any]], units: Mapping[str, str], of_groove: Collection[str], runner: Runner
) -> tuple[Check[Any], list[LevelRow]]:
    """Return one check with its limits, and its rows of the level search."""
    _keys_fit(ruleset, kind)
    limits = {key: _limit(kind, key, limit, units) for key, limit in ruleset.all_limits[kind.id].items()}
    for key, limit in limits.items():
        _can_set_the_level(kind, key, limit, of_groove)
    values = {**limits, **dict(read_parameters(kind, ruleset.parameters.get(kind.id, {})))}
    return _instance(kind, values, ruleset, runner), [*_rows(kind, limits, units, of_groove)]


def _keys_fit(ruleset: Ruleset, kind: type[Check[Any]]) -> None:
    """Refuse unknown keys of a check, and missing ones after them, since a misspelt key leaves another missing."""
    valid, there = kind.Limits.model_fields, ruleset.entries(kind.id)
    for key, entry in there.items():
        if key not in valid:
            what = "limit" if isinstance(entry, RawLimit) else "parameter"
            raise RulesetError(f'{entry.origin}: "{kind.id}" has no {what} "{shown(key)}"; {meant(key, valid)}')
    for key, info in valid.items():
        if key not in there and info.is_required():
            what = "limit" if is_limit(info) else "parameter"
            raise RulesetError(
                f'{ruleset.origin(kind.id)}: "{kind.id}" needs the {what} "{key}"; add it, or put the check under '
                '"off" and say why'
            )


def _limit(kind: type[Check[Any]], key: str, raw: RawLimit, units: Mapping[str, str]) -> Limit:
    if not is_limit(kind.Limits.model_fields[key]):
        raise RulesetError(
            f'{raw.origin}: "{key}" of "{kind.id}" is a parameter; write it as {{value: ..., source: ...}}'
        )
    judged = [entry for name, entry in kind.judges.items() if limit_key(name) == key]
    for entry in judged:
        if entry.measure not in units:
            raise _BrokenCheckError(
                f'its "{key}" is compared with "{shown(entry.measure)}", which nothing installed measures; '
                f"{meant(entry.measure, units)}{_at(kind)}"
            )
    try:
        unit = units[judged[0].measure] if judged else _own_unit(raw)
        warn, fail = (None if text is None else read(text, unit) for text in (raw.warn, raw.fail))
    except ValueError as why:
        raise RulesetError(f'{raw.origin}: the limit "{key}" of "{kind.id}": {why}') from None
    if any(units[entry.measure] != unit for entry in judged):
        raise _BrokenCheckError(f'its "{key}" is compared with measurements of different units{_at(kind)}')
    limit = Limit(warn=warn, fail=fail, unit=unit, source=raw.source, sets_level=raw.sets_level, origin=raw.origin)
    _in_order(kind, key, limit, judged)
    return limit


def _own_unit(raw: RawLimit) -> str:
    """Return the unit a limit is written in, for limits of numbers that the check itself computes."""
    return parse(raw.warn if raw.warn is not None else raw.fail or "")[1]


def _in_order(kind: type[Check[Any]], key: str, limit: Limit, judged: Iterable[Judged]) -> None:
    """Raise RulesetError where a value fails before it warns."""
    if limit.warn is None or limit.fail is None:
        return
    for entry in judged:
        if not meets(limit.warn, limit.fail, entry.op, limit.unit):
            side = "above" if entry.op == "<=" else "below"
            warn, fail = (with_unit(f"{value:g}", limit.unit) for value in (limit.warn, limit.fail))
            raise RulesetError(
                f'{limit.origin}: the limit "{key}" of "{kind.id}" warns {side} {warn} '
                f"and already fails {side} {fail}; exchange the two"
            )


def _can_set_the_level(kind: type[Check[Any]], key: str, limit: Limit, of_groove: Collection[str]) -> None:
    """Raise RulesetError where a limit is said to set the level and cannot."""
    if limit.sets_level is None:
        return
    judged = [entry for name, entry in kind.judges.items() if limit_key(name) == key]
    where = f'{limit.origin}: the limit "{key}" of "{kind.id}"'
    if getattr(limit, limit.sets_level) is None:
        raise RulesetError(f'{where} sets the level at "{limit.sets_level}", which it does not have')
    for entry in judged:
        if entry.measure not in of_groove and not rises(entry.measure, entry.op):
            raise RulesetError(
                f"{where} cannot set the level: {entry.measure} does not get worse as the level rises; "
                'leave "sets_level" out'
            )
    if not judged:
        raise RulesetError(f'{where} cannot set the level: it is compared with no measurement; leave "sets_level" out')


def _instance(kind: type[Check[Any]], values: Mapping[str, Any], ruleset: Ruleset, runner: Runner) -> Check[Any]:
    try:
        made_or_fault = runner(_construct, kind, values)
    except FAULTS as why:
        raise _BrokenCheckError(f"it cannot be made: {exception_line(why)}") from why
    if isinstance(made_or_fault, _Misfit):
        key, sentence = made_or_fault
        raise RulesetError(f'{ruleset.origin(kind.id, key)}: the limits of "{kind.id}" do not fit: {sentence}')
    return made_or_fault


class _Misfit(NamedTuple):
    """A value that a check's Limits refuse: its key, empty where they refuse several together, and a sentence."""

    key: str
    sentence: str


def _construct(kind: type[Check[Any]], values: Mapping[str, Any]) -> Check[Any] | _Misfit:
    """Return a check with its limits and parameters, or their first fault; raises TypeError where it cannot work."""
    try:
        limits = kind.Limits(**values)
    except ValidationError as faults:
        fault = faults.errors(include_url=False)[0]
        return _Misfit(str(fault["loc"][0]) if fault["loc"] else "", plain_fault(fault, kind.Limits))
    check = kind(limits)
    if type(check) is not kind or vars(check).get("limits") is not limits:
        raise TypeError("its constructor does not keep its limits; call super().__init__(limits)")
    if replaced := sorted(OF_THE_CLASS & set(vars(check))):
        raise TypeError(f'its constructor sets "{replaced[0]}", which belongs to the class')
    return check


def _at(kind: type[Check[Any]]) -> str:
    """Return the place of a class in brackets, for the end of a sentence; empty where it has none."""
    place = place_of(kind)
    return f" ({place})" if place else ""


def _rows(
    kind: type[Check[Any]], limits: Mapping[str, Limit], units: Mapping[str, str], of_groove: Collection[str]
) -> Iterator[LevelRow]:
    for name, judged in kind.judges.items():
        limit = limits.get(limit_key(name))
        follows = judged.measure.startswith(GROOVE) or judged.measure in FOLLOWING or judged.measure in of_groove
        if limit is not None and follows:
            yield LevelRow(
                kind.id,
                name,
                judged.measure,
                judged.op,
                limit.warn,
                limit.fail,
                units[judged.measure],
                limit.sets_level,
            )
