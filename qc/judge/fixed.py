"""Find the failing checks that a lower level fixes, by judging them again there from the same measurements."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from qc.model.report import PluginFailure
from qc.plugin_base import Check, CheckResult

FIXED = frozenset({"pass", "warn", "waived", "not_applicable"})
"""Outcomes of a check that is fixed; an error or a missing measurement is no improvement."""

Judge = Callable[[Sequence[Check[Any]]], tuple[Sequence[CheckResult], Sequence[PluginFailure]]]
"""Runs some checks at the other level."""


def fixed(checks: Iterable[Check[Any]], results: Sequence[CheckResult], judge: Judge) -> tuple[str, ...]:
    """Return the ids of checks that fail in `results` and not when `judge` runs them again, in order.

    Plugins that fail there are no failures of the run, which judged at another level.
    """
    failing = {result.check for result in results if result.outcome == "fail"}
    if not failing:
        return ()
    again, _ = judge([check for check in checks if check.id in failing])
    return tuple(result.check for result in again if result.outcome in FIXED)
