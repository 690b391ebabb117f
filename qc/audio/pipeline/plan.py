"""Plan the measurements of one source: the closure of all needs, each once, and the groups that share a thread."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from qc.plugin_base import Analysis, Derived, GrooveDerived, Need, Tap


@dataclass(frozen=True)
class Plan:
    """Analyses and derived needs of one source, each once; derived needs come after those they read.

    A tap is in one group only, so that each group can run in any thread without a lock.
    """

    analyses: tuple[Analysis[Any], ...]
    derived: tuple[Derived[Any], ...]
    groups: tuple[tuple[Analysis[Any], ...], ...]
    of_groove: Mapping[GrooveDerived[Any], tuple[Need[Any], ...]] = field(default_factory=dict)
    """each need derived from the groove, with the needs that it reads"""

    def only(self, analyses: Collection[Analysis[Any]]) -> Plan:
        """Return the plan of some of the analyses, in the same groups, without any derived needs."""
        groups = [tuple(analysis for analysis in group if analysis in analyses) for group in self.groups]
        kept = tuple(analysis for analysis in self.analyses if analysis in analyses)
        return Plan(kept, (), tuple(group for group in groups if group))


def plan(needs: Iterable[Need[Any]]) -> Plan:
    """Return the closure of `needs` as a plan.

    Raises ValueError when derived needs read each other, or read one that depends on the cut level.
    """
    analyses: dict[Analysis[Any], None] = {}
    derived: dict[Derived[Any], None] = {}
    of_groove: dict[GrooveDerived[Any], tuple[Need[Any], ...]] = {}

    def add(need: Need[Any], waiting: tuple[Need[Any], ...]) -> None:
        if isinstance(need, Analysis):
            analyses[need] = None
        elif isinstance(need, Derived) and need not in derived:
            if need in waiting:
                raise ValueError(f"{need.id} needs itself by way of {', '.join(n.id for n in waiting)}")
            for other in need.needs():
                add(other, (*waiting, need))
            derived[need] = None
        elif isinstance(need, GrooveDerived):
            if waiting:
                raise ValueError(f"{waiting[-1].id} needs {need.id}, which depends on the cut level")
            of_groove[need] = tuple(need.needs())
            for other in of_groove[need]:
                add(other, (need,))

    for need in needs:
        add(need, ())
    return Plan(tuple(analyses), tuple(derived), _grouped(tuple(analyses)), of_groove)


def lineage(tap: Tap) -> tuple[Tap, ...]:
    """Return a tap and its bases, the tap first and the source's own one last."""
    base = tap.base()
    return (tap, *lineage(base)) if base is not None else (tap,)


def _grouped(analyses: tuple[Analysis[Any], ...]) -> tuple[tuple[Analysis[Any], ...], ...]:
    """Group the analyses that share a tap, the costliest group first, so that no thread ends up waiting for it.

    Groups without a tap are put together as long as they cost no more than the costliest: every group is a thread that
    each block is handed to, which takes longer than a light analysis needs for the block.
    """
    groups: list[tuple[list[Analysis[Any]], set[Tap]]] = []
    for analysis in analyses:
        members, taps = [analysis], {t for tap in analysis.taps() for t in lineage(tap)}
        others = []
        for group in groups:
            if group[1] & taps:
                members, taps = group[0] + members, taps | group[1]
            else:
                others.append(group)
        groups = [*others, (members, taps)]
    groups.sort(key=lambda group: -_cost(group[0]))
    together: list[tuple[list[Analysis[Any]], set[Tap]]] = []
    for members, taps in groups:
        most = _cost(groups[0][0]) - _cost(members)
        roomy = [] if taps else [light for light, none in together if not none and _cost(light) <= most]
        if roomy:
            min(roomy, key=_cost).extend(members)
        else:
            together.append((members, taps))
    together.sort(key=lambda group: -_cost(group[0]))
    return tuple(tuple(members) for members, _ in together)


def _cost(analyses: Iterable[Analysis[Any]]) -> float:
    return sum(analysis.cost for analysis in analyses)
