"""A check judged again by the numbers of a stored report, and all that it looked for beside them.

The check itself judges, through the same engine; it meets the report's numbers in place of a side that was heard.
Whoever asks remembers what was looked for, since a report holds each number once and nothing it was worked out from.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn, TypeVar

from qc.judge.context import SideEvidence
from qc.judge.engine import CheckRunner, judge_delivery, judge_side
from qc.model.cutting_chain import Chain
from qc.model.report import SideReport
from qc.plugin_api import Check, CheckResult, Need, Report
from qc.plugin_host.runner import Runner

V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Rejudged:
    """What a check says by the numbers alone, and what it looked for."""

    result: CheckResult
    numbers: frozenset[str]
    """names of measurements"""
    beyond: frozenset[str]
    """what no report holds: results of measuring by id, parts of the delivery file"""
    broke: str
    """what it raised, where it did"""


def rejudged(check: Check[Any], report: Report, side: SideReport | None, chain: Chain, runner: Runner) -> Rejudged:
    """Judge one side of a report again, or with no side all of it by a check of the whole delivery."""
    numbers: set[str] = set()
    beyond: set[str] = set()
    if side is not None:
        results, failures = judge_side([check], _evidence(side, chain, numbers, beyond), CheckRunner(call=runner))
    else:
        sides = {f"side:{one.id}": _evidence(one, chain, numbers, beyond) for one in report.sides}
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
    """Give the level that was requested of a side; a report from before it said so has the declared one."""
    levels = side.levels
    if levels is None:
        return None
    found = levels.declared if levels.basis is None else levels.requested
    return None if found is None else found.value


class _Watched(Mapping[str, V]):
    """A mapping that tells what is looked up in it, whether it is there or not."""

    def __init__(self, held: Mapping[str, V], told: Callable[[str], object]) -> None:
        self._held, self._told = held, told

    def __getitem__(self, key: str) -> V:
        self._told(key)
        return self._held[key]

    def __iter__(self) -> Iterator[str]:
        self._told("all of it")
        return iter(self._held)

    def __len__(self) -> int:
        return len(self._held)


class _Nothing(Mapping[type[Need[Any]], Any]):
    """The results of measuring, of which a report has none; tells which are looked for."""

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
