"""What a run must measure: the closure of all needs, the audio heard once, and who shares a thread with whom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from qc.plugin_api import Analysis, Derived, Need, Tap


@dataclass(frozen=True)
class Plan:
    """Analyses and derived needs of one source, each once; derived ones in an order that can be worked.

    No tap is in two of the groups, so that a group can run in any thread without a lock.
    """

    analyses: tuple[Analysis[Any], ...]
    derived: tuple[Derived[Any], ...]
    groups: tuple[tuple[Analysis[Any], ...], ...]


def plan(needs: Iterable[Need[Any]]) -> Plan:
    """Take the closure of `needs`; raises ValueError when derived needs wait for each other."""
    analyses: dict[Analysis[Any], None] = {}
    derived: dict[Derived[Any], None] = {}

    def add(need: Need[Any], waiting: tuple[Need[Any], ...]) -> None:
        if isinstance(need, Analysis):
            analyses[need] = None
        elif isinstance(need, Derived) and need not in derived:
            if need in waiting:
                raise ValueError(f"{need.id} needs itself by way of {', '.join(n.id for n in waiting)}")
            for other in need.needs():
                add(other, (*waiting, need))
            derived[need] = None

    for need in needs:
        add(need, ())
    return Plan(tuple(analyses), tuple(derived), _grouped(tuple(analyses)))


def lineage(tap: Tap) -> tuple[Tap, ...]:
    """Give a tap and all that it listens to."""
    base = tap.base()
    return (tap, *lineage(base)) if base is not None else (tap,)


def _grouped(analyses: tuple[Analysis[Any], ...]) -> tuple[tuple[Analysis[Any], ...], ...]:
    """Put analyses that share a tap together; the costliest group first, so that no thread ends up waiting for it."""
    groups: list[tuple[list[Analysis[Any]], set[Tap]]] = []
    for analysis in analyses:
        members, taps = [analysis], {t for tap in analysis.taps() for t in lineage(tap)}
        apart = []
        for group in groups:
            if group[1] & taps:
                members, taps = group[0] + members, taps | group[1]
            else:
                apart.append(group)
        groups = [*apart, (members, taps)]
    groups.sort(key=lambda group: -sum(a.cost for a in group[0]))
    return tuple(tuple(members) for members, _ in groups)
