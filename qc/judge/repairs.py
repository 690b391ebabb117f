"""Audio that changed between the pass and the second look: the checks of the audio itself are judged again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from qc.audio.received import AsReceived, AudioFault
from qc.judge.context import SideEvidence
from qc.judge.engine import CheckRunner, judge_side
from qc.model.report import PluginFailure
from qc.plugin_api import Check, CheckResult


def disturbed(
    checks: Iterable[Check[Any]], results: Sequence[CheckResult], evidence: SideEvidence, changes: Sequence[AudioFault],
    runner: CheckRunner,
) -> tuple[list[CheckResult], list[PluginFailure]] | None:  # fmt: skip
    """Judge a side's audio again with `changes` added to what is wrong with it; None where no check judges that.

    Checks that cannot be waived and need what was received do; every other result stays that of the audio as it was
    read in the pass, whose digest the report gives.
    """
    again = [check for check in checks if not check.waivable and AsReceived in check.needs]
    received = evidence.results.get(AsReceived)
    if not again or received is None:
        return None
    received = replace(received, faults=(*received.faults, *changes))
    known = replace(evidence, results={**evidence.results, AsReceived: received})
    found, failures = judge_side(again, known, runner)
    by_check = {result.check: result for result in found}
    return [by_check.get(result.check, result) for result in results], failures
