"""Run many case files, each by itself, so that one that cannot be used ends none of the others."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from qc.model.errors import RulesetError, SidegateError
from qc.plugin_host.host import Host
from qc.testing.case_folders import check_of
from qc.testing.cases import load, run
from qc.testing.comparison import differences_of
from qc.testing.deliveries import JudgedReport
from qc.text.numbers import listed
from qc.text.sanitize import shown

State = Literal["holds", "differs", "unusable", "broken"]
"""Whether a case holds, the report differs from it, it cannot be used, or a plugin broke."""
CODES: dict[State, int] = {"holds": 0, "differs": 1, "unusable": 2, "broken": 3}
"""Exit codes."""


@dataclass(frozen=True)
class CaseRun:
    """A case file that was run."""

    path: Path
    state: State
    code: int
    """exit code: that of the state, and 3 where the report says that a plugin broke"""
    seconds: float
    faults: tuple[str, ...] = ()
    """a sentence for each difference: what was found, and what was expected; none where the case holds"""

    @property
    def lines(self) -> list[str]:
        """The faults, each behind the path of the case; one of the file itself has it already, with its line."""
        name = shown(str(self.path), longest=500)
        return [fault if fault.startswith(f"{name}:") else f"{name}: {fault}" for fault in self.faults]

    @property
    def check(self) -> str:
        """The id of the check, from the name of the folder."""
        return check_of(self.path)


def run_cases(paths: Iterable[Path], folder: Path, host: Host, ruleset: str | None = None) -> Iterator[CaseRun]:
    """Run case files one after another, each in a folder of its own inside `folder`, and yield what became of each.

    `ruleset` judges cases that name none.
    """
    at_start = [json.loads(failure.model_dump_json()) for failure in host.failures]
    for number, path in enumerate(paths):
        begin = time.monotonic()
        state, found, judged = _run_case(path, folder / str(number), host, ruleset, at_start)
        code = CODES["broken"] if judged is not None and judged.code == CODES["broken"] else CODES[state]
        yield CaseRun(path, state, code, time.monotonic() - begin, tuple(found))


def _run_case(
    path: Path, folder: Path, host: Host, ruleset: str | None, at_start: Sequence[dict[str, Any]]
) -> tuple[State, list[str], JudgedReport | None]:
    """Return the state of a case, a sentence for each thing that is wrong, and the report; None where there is none."""
    folder.mkdir()
    try:
        case = load(path)
        judged = run(case, folder, host, ruleset=ruleset)
    except SidegateError as error:
        state: State = "broken" if error.exit_code == CODES["broken"] else "unusable"
        if isinstance(error, RulesetError) and at_start:  # what the ruleset names may be of such a plugin
            plugins = listed(sorted({failure["plugin"] for failure in at_start}))
            return "broken", [f"not judged, for the plugin {plugins} did not load"], None
        return state, [str(error)], None
    if broken := _broken(judged, at_start):
        return "broken", [broken], judged
    if differences := differences_of(case, judged):
        return "differs", differences, judged
    if judged.code == CODES["broken"]:
        return "broken", [_broken(judged, ()) or "a plugin that it needs failed"], judged
    return "holds", [], judged


def _broken(judged: JudgedReport, at_start: Sequence[dict[str, Any]]) -> str:
    """Describe the first plugin that failed in the run of a case; empty where none did, but for those at the start."""
    for failure in judged.report["plugin_failures"]:
        if failure not in at_start:
            return f"plugin {failure['plugin']} failed at {failure['stage']}: {failure['message']}"
    return ""
