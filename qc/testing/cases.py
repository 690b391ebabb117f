"""Case files for tests of checks: one YAML file describes a delivery and the expected result of one check.

The path of a case is `CHECK ID/OUTCOME-why.yaml`, with the outcome pass, warn, fail, or na for not applicable. A test
of a folder of cases takes three lines:

    @pytest.mark.parametrize("case", cases_in(FOLDER), ids=str)
    def test_case(case, tmp_path):
        check(case, tmp_path)
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from qc.files.yaml_source import load_yaml, validate
from qc.model.errors import SidegateError
from qc.plugin_host.host import Host
from qc.ruleset.find import is_path
from qc.ruleset.model import Entry
from qc.testing.case_file import CaseFile, Expected
from qc.testing.deliveries import JudgedReport
from qc.testing.findings import Found, assert_outcome, reaches, result_of
from qc.testing.made import make
from qc.testing.written import Number
from qc.text.sanitize import shown
from qc.text.suggest import meant

OUTCOMES = {"pass": "pass", "warn": "warn", "fail": "fail", "na": "not_applicable"}
_NAMED = re.compile(rf"({'|'.join(OUTCOMES)})-[a-z0-9][a-z0-9.-]*")


_ENTRY: TypeAdapter[Entry] = TypeAdapter(Entry)


class CaseError(SidegateError):
    """An invalid case file."""

    exit_code = 2


@dataclass(frozen=True)
class Case:
    """A case file with its path, check and outcome."""

    path: Path
    check: str
    """id of the check, from the name of the folder"""
    outcome: str
    """expected outcome, as in the report: "not_applicable" """
    file: CaseFile

    def __str__(self) -> str:
        return f"{self.check}/{self.path.stem}"

    def with_limits(self, limits: Mapping[str, Mapping[str, Any]]) -> Case:
        """Return the case with other limits and parameters, check id -> key -> {"warn": "2 s", "source": "..."}."""
        more = {
            check: {key: _ENTRY.validate_python(entry) for key, entry in own.items()} for check, own in limits.items()
        }
        return replace(self, file=self.file.model_copy(update={"limits": {**self.file.limits, **more}}))


def load(path: Path) -> Case:
    """Read a case file; raises CaseError with one sentence, "FILE:LINE: ..."."""
    path = Path(path)
    named = _NAMED.fullmatch(path.stem)
    if named is None:
        raise CaseError(
            f"{shown(str(path), longest=500)}: a case is named for what must become of the check and why, "
            "such as warn-a-little-too-deep.yaml; it begins with pass-, warn-, fail- or na-"
        )
    file = validate(load_yaml(path, "case", CaseError), CaseFile, CaseError)
    return Case(path, path.resolve().parent.name, OUTCOMES[named[1]], file)


def cases_in(folder: Path) -> list[Case]:
    """Read every case of a folder, `CHECK ID/OUTCOME-why.yaml`, in order; raises CaseError, also for an empty one."""
    found = [load(path) for path in sorted(Path(folder).glob("*/*.yaml"))]
    if not found:
        raise CaseError(f"{shown(str(folder), longest=500)}: there is no case; put them into CHECK ID/OUTCOME-why.yaml")
    return found


def run(case: Case, tmp_path: Path, host: Host | None = None, *, cache: Path | None = None) -> JudgedReport:
    """Write the delivery of a case under `tmp_path` and judge it with all checks of its ruleset.

    `host` has the plugins, by default the installed ones; `Host.build(extra=[("house", module)])` adds one that is not
    installed. `cache` is a folder of stored measurements, for a case that is run under several limits. Raises
    CaseError where no plugin has the check, and the errors of `qc.api.check`.
    """
    from qc import api
    from qc.delivery.reader import read_delivery
    from qc.judge.engine import exit_code
    from qc.testing.ruled import ruled

    host = host or api.build_host()
    if case.check not in host.checks:
        raise CaseError(f'{case}: no check is called "{shown(case.check)}"; {meant(case.check, host.checks)}')
    delivery = make(case.file, Path(tmp_path) / "delivery")
    ruleset = _ruleset(case)
    if case.file.limits:
        ruleset = str(ruled(read_delivery(delivery), ruleset, case.file.limits, host, Path(tmp_path) / "case.yaml"))
    report = api.check(delivery, api.Options(ruleset=ruleset, workers=1, cache=cache), host)
    return JudgedReport(exit_code(report), json.loads(report.model_dump_json()))


def _ruleset(case: Case) -> str | None:
    """Return NAME@VERSION unchanged, and a path resolved relative to the case file."""
    ruleset = case.file.ruleset
    return ruleset if ruleset is None or not is_path(ruleset) else str(case.path.parent / ruleset)


def check(case: Case, tmp_path: Path, host: Host | None = None) -> JudgedReport:
    """Run a case, compare the report with its expectations, and return the report.

    Raises AssertionError with one sentence about the first difference.
    """
    judged = run(case, tmp_path, host)
    try:
        hold(case, judged)
    except AssertionError as why:
        raise AssertionError(f"{case.path}: {why}") from None
    return judged


def hold(case: Case, judged: JudgedReport) -> None:
    """Compare a report with the expectations of a case; raises AssertionError with one sentence."""
    expected = case.file.expect
    assert_outcome(judged, case.check, case.outcome, side=expected.side)
    result = result_of(judged, case.check, expected.side)
    count = len(result["findings"]) + result["findings_omitted"]
    if expected.findings is not None and count != expected.findings:
        raise AssertionError(
            f"{case.check} has {count} findings, not {expected.findings}: {_messages(result['findings'])}"
        )
    for name, number in expected.measured.items():
        _measured(judged, expected.side or case.file.sides[0].id, name, number)
    _says(case.check, result, expected)
    if expected.finding and not any(not _differs(finding, expected) for finding in result["findings"]):
        raise AssertionError(_no_finding(case.check, result["findings"], expected))


def _says(check_id: str, result: dict[str, Any], expected: Expected) -> None:
    messages = [finding["message"] for finding in result["findings"]]
    said = [text for text in (result["reason"], *messages) if text]
    if expected.says is not None and not any(expected.says in text for text in said):
        raise AssertionError(f'{check_id} does not say "{expected.says}"; it says: {"; ".join(said[:5]) or "nothing"}')


def _measured(judged: JudgedReport, side: str, name: str, number: Number) -> None:
    measurements = judged.side(side)["measurements"]
    if name not in measurements:
        raise AssertionError(f"{name} was not measured on side {side}; {meant(name, measurements)}")
    if wrong := _outside(number, measurements[name]["value"], measurements[name]["unit"]):
        raise AssertionError(f"{name} on side {side} {wrong}")


def _outside(number: Number, value: float, unit: str) -> str:
    """Return a description of how a value differs from the expected one, or ""."""
    try:
        least, most = number.span(unit)
    except ValueError as why:
        return f"cannot be compared with what is expected: {why}"
    if least <= value <= most:
        return ""
    if least == float("-inf"):
        return f"is {value:.6g} {unit}, not {most:.6g} {unit} or less"
    if most == float("inf"):
        return f"is {value:.6g} {unit}, not {least:.6g} {unit} or more"
    return f"is {value:.6g} {unit}, not between {least:.6g} and {most:.6g} {unit}"


def _differs(found: Found, expected: Expected) -> str:
    """Return a description of the first difference of a finding from the expected one, or ""."""
    where = found["location"]
    if expected.severity is not None and found["severity"] != expected.severity:
        return f"it {found['severity']}s"
    for name, wanted in (("track", expected.track), ("channel", expected.channel)):
        if wanted is not None and where[name] != wanted:
            return f"its {name} is {where[name]}, not {wanted}"
    if expected.at is not None and not reaches(where, expected.at, expected.within):
        there = "nowhere in particular" if where["start_s"] is None else f"at {where['start_s']:.3f} s"
        return f"it lies {there}, not within {expected.within:g} s of {expected.at:g} s"
    return _number_differs(found["measured"], expected)


def _number_differs(measured: Any, expected: Expected) -> str:
    """Return a description of how the number or text of a finding differs from the expected one, or ""."""
    number = not isinstance(measured, str)
    if expected.kind is not None and measured != expected.kind:
        return "it gives a number" if number else f'it gives "{measured}"'
    if expected.found is None:
        return ""
    if not number:
        return f'it gives "{measured}", no number'
    wrong = _outside(expected.found, measured["value"], measured["unit"])
    return wrong and f"its number {wrong}"


def _no_finding(check_id: str, findings: list[Found], expected: Expected) -> str:
    if not findings:
        return f"{check_id} found nothing, and a finding is expected"
    differs = "; ".join(f"{finding['message']} - {_differs(finding, expected)}" for finding in findings[:5])
    return f"{check_id} has no finding that is as expected: {differs}"


def _messages(findings: list[Found]) -> str:
    return "; ".join(finding["message"] for finding in findings[:5]) or "none"
