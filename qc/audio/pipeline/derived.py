"""Compute derived needs from the results of a pass, each after the needs that it reads."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from qc.dsp.samples.own_copy import OwnCopies
from qc.model.errors import FAULTS
from qc.plugin_base import Derived, Measurements, Need
from qc.plugin_host.runner import Runner
from qc.text.exceptions import exception_line


def compute_derived(
    measured: Measurements, derived: Iterable[Derived[Any]], runner: Runner,
    adjusted: Callable[[Need[Any], Any], Any] = lambda _, result: result,
) -> Measurements:  # fmt: skip
    """Return the measurements with the results of derived needs, which are in an order that can be computed.

    A need that raises or times out has a sentence in `failed`. `adjusted` takes a need and its result, and returns the
    result that is kept, such as one corrected by the declared tracks.
    """
    results: dict[Need[Any], Any] = dict(measured.results)
    failed: dict[Need[Any], str] = dict(measured.failed)
    measured = replace(measured, results=MappingProxyType(results), failed=MappingProxyType(failed))
    for need in derived:
        try:
            results[need] = adjusted(need, runner(_work, need, measured))
        except FAULTS as error:
            failed[need] = exception_line(error)
    return measured


def _work(need: Derived[Any], measured: Measurements) -> Any:
    """Compute a need from copies of the results, so that what it writes there reaches no other."""
    own = replace(measured, results=OwnCopies(measured.results), failed=dict(measured.failed))
    return need.work(own)  # to look up the method may run plugin code too
