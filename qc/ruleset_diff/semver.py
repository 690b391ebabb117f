"""The kind of release that a change of a ruleset is, by what it may do to deliveries that were judged before.

* patch: nothing that was judged comes out otherwise. Sources, reasons and words differ.
* minor: what was judged before comes out the same, at the same levels; checks may be added, which judge what was
  not judged before and may warn or fail by themselves, or something must be installed. The clean level, which heeds
  every warning, may move. A parameter that is set otherwise is minor too: it says what a house writes or wants, a
  catalogue number's form for example, and no limit of what can be cut; its own check may come out otherwise.
* major: what was judged before may come out otherwise: a value of the chain, a limit of a check that was there, a
  check that is gone, a parameter that is no longer set, a limit that sets the level.
"""

from __future__ import annotations

from collections.abc import Container, Iterator
from typing import Literal, NamedTuple

from packaging.version import Version

from qc.ruleset_diff.delta import Differences

Kind = Literal["none", "patch", "minor", "major"]
KINDS: tuple[Kind, ...] = ("none", "patch", "minor", "major")


class Reason(NamedTuple):
    """Why a change is a release of a kind."""

    kind: Kind
    says: str


def reasons(found: Differences) -> list[Reason]:
    """Return every difference with the kind of release that it takes by itself, the gravest first."""
    return sorted(_reasons(found), key=lambda reason: -KINDS.index(reason.kind))


def kind_of(found: Differences) -> Kind:
    """Return the least kind of release that may have all of the differences."""
    return max((reason.kind for reason in _reasons(found)), key=KINDS.index, default="none")


def _reasons(found: Differences) -> Iterator[Reason]:
    if found.serves is not None:
        yield Reason("major", f"it serves {' at '.join(found.serves[1])}, and no longer {' at '.join(found.serves[0])}")
    for one in found.chain:
        yield Reason("major", f"{one.key} differs") if one.value else Reason("patch", f"{one.key} has another source")
    yield from _of_policy(found)
    yield from _of_checks(found)
    switched = {check.check for check in found.checks}
    for limit in found.limits:
        if limit.check in switched:
            continue  # it is listed as a check
        if limit.way == "words":
            yield Reason("patch", f"{limit.name} has another source")
        else:
            yield Reason("major", f"{limit.name} is {limit.way}, and its check was there before")
    yield from _of_parameters(found, switched)
    yield from _of_measures(found)
    for need in found.requires:
        if need.after is None:
            yield Reason("patch", f"{need.name} is no longer asked for")
        else:
            yield Reason("minor", f"{need.name} must be {need.after}")


def _of_parameters(found: Differences, switched: Container[str]) -> Iterator[Reason]:
    for parameter in found.parameters:
        if parameter.check in switched:
            continue  # it is listed as a check
        if parameter.way == "words":
            yield Reason("patch", f"{parameter.name} has another source")
        elif parameter.way == "removed":
            yield Reason("major", f"{parameter.name} is removed, and its check was there before")
        else:
            yield Reason("minor", f"{parameter.name} is {parameter.way}")


def _of_measures(found: Differences) -> Iterator[Reason]:
    for measure in found.measures:
        if measure.measure:
            yield Reason("major", f"{measure.check} is compared with another measurement")
        else:
            yield Reason("patch", f"{measure.check} has other words")


def _of_policy(found: Differences) -> Iterator[Reason]:
    for policy in found.level:
        if policy.moves:
            yield Reason("major", f"{policy.key} differs, and with it the recommended level")
        else:
            yield Reason("patch", f"{policy.key} is stated otherwise, and moves no level")


def _of_checks(found: Differences) -> Iterator[Reason]:
    for check in found.checks:
        if check.way == "words":
            yield Reason("patch", f"{check.check} is off for another reason")
        elif check.way == "off":
            yield Reason("major", f"{check.check} is no longer judged")
        elif check.sets_level:
            yield Reason("major", f"{check.check} is added and sets the level, at which everything is judged")
        else:
            yield Reason("minor", f"{check.check} is added, and sets no level")


def step(before: str, after: str) -> Kind | None:
    """Return the kind of release that two version numbers promise; None where they promise nothing.

    That is so for a version that is not later, and for one that is not released. Below 1.0.0 the second number
    promises what the first does later on.
    """
    old, new = Version(before), Version(after)
    if old.is_prerelease or new.is_prerelease or new < old:
        return None
    numbers = [(*one.release, 0, 0, 0)[:3] for one in (old, new)]
    differs = next((i for i in range(3) if numbers[0][i] != numbers[1][i]), None)
    if differs is None:
        return "none" if new == old else "patch"
    if differs == 1 and numbers[0][0] == 0:
        return "major"
    return KINDS[3 - differs]


def keeps_its_word(kind: Kind, promised: Kind) -> bool:
    """Whether a change of a kind may be released under numbers that promise another."""
    return KINDS.index(kind) <= KINDS.index(promised)
