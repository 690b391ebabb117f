"""A chain changed for one run, as the command line asks for: "cut.land=10um". The ruleset's file stays as it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import ValidationError

from qc.model.cutting_chain import TIP_RADIUS
from qc.model.errors import UsageError
from qc.model.quantity import spaced
from qc.ruleset.load import Ruleset, chain_of
from qc.ruleset.model import ChainEntry
from qc.text.sanitize import plain_fault, shown
from qc.text.suggest import meant

ASKED = "command line"
"""The source of a value that was changed for one run."""


@dataclass(frozen=True, slots=True)
class Change:
    """One value of the chain as it was requested."""

    section: str
    name: str
    value: str
    word: str
    """as it is on the command line"""

    @property
    def key(self) -> str:
        """Key as it is written: "cut.land"."""
        return f"{self.section}.{self.name}"


def keys() -> tuple[str, ...]:
    """Return every key of the chain, "cut.land" and the like."""
    return tuple(
        f"{section}.{name}"
        for section, field in ChainEntry.model_fields.items()
        for name in getattr(field.annotation, "model_fields", ())
    )


def read_changes(words: Sequence[str]) -> tuple[Change, ...]:
    """Read KEY=VALUE words; raises UsageError for an unknown key, a missing value, or a key given twice."""
    changes: list[Change] = []
    names = keys()
    for word in words:
        key, equals, value = (part.strip() for part in word.partition("="))
        if not equals or not value:
            raise UsageError(f'--chain {shown(word)}: write it as KEY=VALUE, for example "cut.land=10um"')
        if key not in names:
            ends = [name for name in names if name.partition(".")[2] == key]
            hint = f'did you mean "{ends[0]}"?' if len(ends) == 1 else meant(key, names, longest=20)
            raise UsageError(f'--chain {shown(word)}: the chain has no value "{shown(key)}"; {hint}')
        if key in [change.key for change in changes]:
            raise UsageError(f"--chain {shown(word)}: {key} is changed twice; give one value")
        section, _, name = key.partition(".")
        changes.append(Change(section, name, _spaced(value), word))
    return tuple(changes)


def changed(ruleset: Ruleset, changes: Sequence[Change]) -> Ruleset:
    """Return the ruleset with a changed chain; raises UsageError for a value that cannot be so."""
    if not changes:
        return ruleset
    rows: dict[str, dict[str, dict[str, str]]] = {
        section: {name: dict(row) for name, row in part.items()} for section, part in ruleset.chain_rows.items()
    }
    for change in changes:
        row = rows[change.section][change.name]
        row |= {"value": _of_tip(ruleset, change), "source": ASKED, "was": row.get("was", row["value"])}
    try:
        entry = ChainEntry.model_validate(_without_was(rows))
    except ValidationError as faults:
        raise _refused(faults, changes) from None
    chain = chain_of(entry, *ruleset.serves)
    for change in changes:
        part = getattr(ruleset.chain, change.section)
        if getattr(part, change.name) == getattr(getattr(chain, change.section), change.name):
            rows[change.section][change.name] = dict(ruleset.chain_rows[change.section][change.name])  # it is so anyway
    return replace(ruleset, chain=chain, chain_rows=rows)


def _of_tip(ruleset: Ruleset, change: Change) -> str:
    """Return the value of a change; for a tip that the ruleset names, its radius along the groove."""
    if change.key != TIP_RADIUS or not ruleset.tips or not change.value.replace("-", " ").replace(" ", "").isalpha():
        return change.value
    radii = {tip.name: f"{1e6 * tip.along:g} um" for tip in ruleset.tips}
    name = change.value.replace("-", " ")
    if name not in radii:
        raise UsageError(
            f"--chain {shown(change.word)}: {ruleset.full_name} names no such tip; {meant(name, radii)}; or write its "
            'radius, as "18um"'
        )
    return radii[name]


def _without_was(rows: Mapping[str, Mapping[str, Mapping[str, str]]]) -> dict[str, Any]:
    return {
        section: {name: {k: v for k, v in row.items() if k != "was"} for name, row in part.items()}
        for section, part in rows.items()
    }


def _spaced(value: str) -> str:
    """Write a quantity as rulesets do, "10 um"; words stay words."""
    try:
        return spaced(value)
    except ValueError:
        return value


def _refused(faults: ValidationError, changes: Sequence[Change]) -> UsageError:
    """Return the error that names the option at fault, and the other value where two do not fit together."""
    first = faults.errors(include_url=False)[0]
    context = first.get("ctx", {})
    at = tuple(str(part) for part in (*first["loc"], *context.get("at", ())))
    key, sentence = ".".join(at[:2]), str(context.get("sentence") or plain_fault(first, ChainEntry))
    for change in changes:
        if change.key == key:
            return UsageError(f"--chain {shown(change.word)}: {sentence}")
    words = " ".join(f"--chain {shown(change.word)}" for change in changes)
    return UsageError(f"{words}: {key}: {sentence}" if key else f"{words}: {sentence}")
