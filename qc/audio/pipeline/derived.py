"""What is worked out from what was heard, each need from those it waits for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from qc.model.errors import FAULTS
from qc.plugin_api import Derived, Measurements, Need
from qc.plugin_host.runner import Runner
from qc.text.sanitize import told


def work_out(
    measured: Measurements, derived: Iterable[Derived[Any]], runner: Runner,
    declared: Callable[[Need[Any], Any], Any] = lambda _, result: result,
) -> Measurements:  # fmt: skip
    """Add derived needs, in an order that can be worked; what a plugin raises is kept in `failed`.

    So is a time-out. `declared` is given each need with its result, and
    returns what those that wait for it shall see: that result, or what a declaration makes of it.
    """
    results: dict[Need[Any], Any] = dict(measured.results)
    failed: dict[Need[Any], str] = dict(measured.failed)
    measured = replace(measured, results=results, failed=failed)
    for need in derived:
        try:
            results[need] = declared(need, runner(need.work, measured))
        except FAULTS as error:
            failed[need] = told(error)
    return measured
