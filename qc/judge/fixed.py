"""Which failing checks a lower level would fix: they are judged again at that level, with no pass over the audio."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from qc.model.report import PluginFailure
from qc.plugin_api import Check, CheckResult

FIXED = frozenset({"pass", "warn", "waived", "not_applicable"})
"""Outcomes of a check that does not fail; one that broke or could not measure is no better than before."""

Judge = Callable[[Sequence[Check[Any]]], tuple[Sequence[CheckResult], Sequence[PluginFailure]]]
"""Judges by some checks at the other level"""


def fixed(checks: Iterable[Check[Any]], results: Sequence[CheckResult], judge: Judge) -> tuple[str, ...]:
    """Name the checks that fail in `results` and not when `judge` runs them again; in the order of the results.

    What breaks there is no failure of the run, which judged at another level.
    """
    failing = {result.check for result in results if result.outcome == "fail"}
    if not failing:
        return ()
    again, _ = judge([check for check in checks if check.id in failing])
    return tuple(result.check for result in again if result.outcome in FIXED)
