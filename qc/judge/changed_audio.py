"""Judge the checks of the audio itself again when it changed between the pass and the second look."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from qc.audio.received import AsReceived, AudioFault
from qc.judge.context import SideEvidence
from qc.judge.engine import CheckRunner, judge_side
from qc.model.report import PluginFailure
from qc.plugin_base import Check, CheckResult


def judge_changed_audio(
    checks: Iterable[Check[Any]], results: Sequence[CheckResult], evidence: SideEvidence, changes: Sequence[AudioFault],
    runner: CheckRunner,
) -> tuple[list[CheckResult], list[PluginFailure]] | None:  # fmt: skip
    """Judge a side's audio again with `changes` among its faults; return None where no check does that.

    Checks that cannot be waived and need the received file do; every other result belongs to the audio that was read in
    the pass, whose digest the report states.
    """
    again = [check for check in checks if not check.waivable and AsReceived in check.needs]
    received = evidence.results.get(AsReceived)
    if not again or received is None:
        return None
    received = replace(received, faults=(*received.faults, *changes))
    changed = replace(evidence, results={**evidence.results, AsReceived: received})
    found, failures = judge_side(again, changed, runner)
    by_check = {result.check: result for result in found}
    return [by_check.get(result.check, result) for result in results], failures
