"""`sidegate test`: run the case files of a house, and report each that does not hold."""

from __future__ import annotations

import argparse
import os
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from qc.cli.plugin_host import host_of, say_failures
from qc.cli.streams import LONGEST, emit
from qc.files.atomic_write import put_file
from qc.measure.precompile import precompile
from qc.model.errors import UsageError
from qc.testing.case_file import CaseError
from qc.testing.case_folders import case_files, case_name
from qc.testing.suite import CaseRun, State, run_cases
from qc.testing.suite_junit import junit
from qc.text.sanitize import shown

_COUNTED: dict[State, tuple[str, str]] = {
    "holds": ("holds", "hold"),
    "differs": ("does not hold", "do not hold"),
    "unusable": ("cannot be used", "cannot be used"),
    "broken": ("met a broken plugin", "met a broken plugin"),
}
"""State of cases -> words after the number of cases, for 1 and for several."""


def test(words: argparse.Namespace) -> int:
    """Run the command; raises CaseError where there is no case, and UsageError for a place that cannot be written."""
    paths = _chosen([Path(folder) for folder in words.folders], words.only)
    if words.junit is not None:
        _refuse_place(Path(words.junit), paths)
    host = host_of(words)
    say_failures(host.failures)
    precompile(host)
    runs: list[CaseRun] = []
    with tempfile.TemporaryDirectory(prefix="sidegate-") as folder:
        for run in run_cases(paths, Path(folder), host, words.ruleset):
            lines = _lines(run, runs) or ([f"{run.path}: holds"] if words.verbose else [])
            emit("".join(f"{shown(line, LONGEST)}\n" for line in lines).encode())
            runs.append(run)
    emit(f"{_total(runs)}\n".encode())
    if words.junit is not None:
        put_file(Path(words.junit), junit(runs), words.junit)
    return max(run.code for run in runs)


def _lines(run: CaseRun, before: Sequence[CaseRun]) -> Sequence[str]:
    """Return the lines about a case; one that meets the fault of an earlier one, in their ruleset, refers to that."""
    if run.state in {"holds", "differs"}:
        return run.lines
    as_before = (case for case in before if case.state == run.state and case.faults == run.faults)
    earlier = next(as_before, None)
    return run.lines if earlier is None else [f"{run.path}: {_COUNTED[run.state][0]}, as {earlier.path}"]


def _chosen(places: Sequence[Path], parts: Sequence[str]) -> list[Path]:
    """Return the case files of some places, each once, with one of the parts in its name where any are given."""
    found = {path.resolve(): path for place in places for path in case_files(place)}
    chosen = [path for path in found.values() if not parts or any(part in case_name(path) for part in parts)]
    if not chosen:
        asked = " or ".join(f'"{shown(part)}"' for part in parts)
        raise CaseError(f"--only: none of {len(found)} cases has {asked} in its name, which is CHECK ID/OUTCOME-why")
    return chosen


def _refuse_place(path: Path, cases: Sequence[Path]) -> None:
    """Raise UsageError, before any case is run, for a place of the JUnit file that must not or cannot be written."""
    name = shown(str(path), longest=500)
    if str(path) in {"", ".", "-"} or path.is_dir():
        raise UsageError("--junit: name the file to write, such as junit.xml")
    if not path.parent.is_dir():
        raise UsageError(f"--junit: there is no folder {shown(str(path.parent), longest=500)}; make it first")
    if Path(os.path.realpath(path)) in {case.resolve() for case in cases}:
        raise UsageError(f"--junit: {name} is a case; name another file")


def _total(runs: Sequence[CaseRun]) -> str:
    """Count the cases by what became of them: "3 cases: 2 hold, 1 does not hold"."""
    counts = Counter(run.state for run in runs)
    parts = [f"{counts[state]} {words[counts[state] > 1]}" for state, words in _COUNTED.items() if counts[state]]
    return f"{len(runs)} case{'s' * (len(runs) > 1)}: {', '.join(parts)}"
