"""A check judged again by the numbers of a stored report, and all else that it looked for.

The check itself judges, through the same engine; it gets the report's numbers in place of a measured side.
What was looked for is recorded, since a report has each number once and nothing that it was computed from.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn, TypeVar

from qc.judge.context import SideEvidence
from qc.judge.engine import CheckRunner, judge_delivery, judge_side
from qc.model.cutting_chain import Chain
from qc.model.report import SideReport
from qc.plugin_base import Check, CheckResult, Need, Report
from qc.plugin_host.runner import Runner

V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Rejudged:
    """The result of a check by the numbers alone, and what it looked for."""

    result: CheckResult
    numbers: frozenset[str]
    """names of measurements"""
    beyond: frozenset[str]
    """what no report has: results of measuring by id, parts of the delivery file"""
    broke: str
    """what it raised, where it did"""


def rejudged(check: Check[Any], report: Report, side: SideReport | None, chain: Chain, runner: Runner) -> Rejudged:
    """Judge one side of a report again, or with no side all of it by a check of the whole delivery."""
    numbers: set[str] = set()
    beyond: set[str] = set()
    if side is not None:
        results, failures = judge_side([check], _evidence(side, chain, numbers, beyond), CheckRunner(call=runner))
    else:
        sides = {f"side:{other.id}": _evidence(other, chain, numbers, beyond) for other in report.sides}
        delivery = _Watched[Any]({}, lambda key: beyond.add(f"what the delivery file says ({key})"))
        results, failures = judge_delivery([check], sides, delivery, CheckRunner(call=runner))
    broke = failures[0].message if failures else ""
    return Rejudged(results[0], frozenset(numbers), frozenset(beyond), broke)


def _evidence(side: SideReport, chain: Chain, numbers: set[str], beyond: set[str]) -> SideEvidence:
    return SideEvidence(
        side=side.id,
        chain=chain,
        declared=side.declared,
        requested=_requested(side),
        results=_Nothing(beyond),
        quantities=_Watched(side.measurements, numbers.add),
        delivery=_Watched[Any]({}, lambda key: beyond.add(f"what the delivery file says ({key})")),
    )


def _requested(side: SideReport) -> float | None:
    """Return the level that was requested of a side; older reports have the declared one."""
    levels = side.levels
    if levels is None:
        return None
    found = levels.declared if levels.basis is None else levels.requested
    return None if found is None else found.value


class _Watched(Mapping[str, V]):
    """A mapping that reports each key that is looked up in it, whether it is there or not."""

    def __init__(self, values: Mapping[str, V], report: Callable[[str], object]) -> None:
        self._values, self._report = values, report

    def __getitem__(self, key: str) -> V:
        self._report(key)
        return self._values[key]

    def __iter__(self) -> Iterator[str]:
        self._report("all of it")
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)


class _Nothing(Mapping[type[Need[Any]], Any]):
    """The results of measuring, of which a report has none; records which are looked for."""

    def __init__(self, asked: set[str]) -> None:
        self._asked = asked

    def __contains__(self, need: object) -> bool:
        self._asked.add(f"the result of {getattr(need, 'id', need)}")
        return False

    def __getitem__(self, need: type[Need[Any]]) -> NoReturn:
        raise KeyError(need)

    def __iter__(self) -> Iterator[type[Need[Any]]]:
        return iter(())

    def __len__(self) -> int:
        return 0
