"""The results of a SARIF log: one for each finding, and one for each check on a side without findings."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from qc.judge.findings import MeasuredFinding
from qc.model.quantity import Quantity, clock
from qc.model.report import CheckResult, Finding, Limit, Report, WaiverFacts
from qc.report.views.waivers import given
from qc.text.sanitize import shown

Row = dict[str, Any]

LONGEST = 4000
"""Characters of one text."""
FINGERPRINT = "sidegate/v1"
LEVELS = {"fail": "error", "warn": "warning"}
KINDS = {"pass": "pass", "warn": "pass", "not_applicable": "notApplicable", "not_measured": "open"}
"""Kind of a result without a finding. SARIF 3.27.9: a result is open where information is missing."""
OUTCOME_WORDS = {
    "pass": "keeps to its limits",
    "not_applicable": "does not apply",
    "not_measured": "could not be measured",
}


def results(report: Report, ids: Sequence[str], sources: Sequence[str]) -> list[Row]:
    """Return the results in the report's order, then the findings of the baseline that are gone."""
    present = [row for result in report.results for row in _of_check(result, report, ids, sources)]
    gone = () if report.baseline is None else report.baseline.gone
    return present + [_result(finding, report, ids, sources) | {"baselineState": "absent"} for finding in gone]


def cited(report: Report) -> list[str]:
    """Return the keys of all sources that findings cite, sorted."""
    gone = () if report.baseline is None else report.baseline.gone
    findings = [*(finding for result in report.results for finding in result.findings), *gone]
    return sorted({key for finding in findings for key in finding.sources})


def _of_check(result: CheckResult, report: Report, ids: Sequence[str], sources: Sequence[str]) -> Iterator[Row]:
    for finding in result.findings:
        yield _result(finding, report, ids, sources)
    if result.findings or result.outcome not in KINDS:
        return  # a check that failed to run has a notification instead
    words = OUTCOME_WORDS.get(result.outcome, OUTCOME_WORDS["pass"])
    where = f"side {result.side}" if result.side else "the delivery"
    reason = f": {result.reason}" if result.reason else ""
    yield {
        "ruleId": result.check,
        "ruleIndex": ids.index(result.check),
        "kind": KINDS[result.outcome],
        "level": "none",
        "message": {"text": message_text(f"{result.check} {words} on {where}{reason}")},
        "locations": [_location(report, result.side or "", None)],
        "properties": {
            "side": plain(result.side or ""),
            "measured": {name: _quantity(quantity) for name, quantity in result.measured.items()},
        },
    }


def _result(finding: Finding, report: Report, ids: Sequence[str], sources: Sequence[str]) -> Row:
    row: Row = {
        "ruleId": finding.check,
        "ruleIndex": ids.index(finding.check),
        "kind": "fail",
        "level": LEVELS[finding.severity],
        "message": {"text": message_text(f"{finding.message}. {finding.remedy}")},
        "locations": [_location(report, finding.location.side, finding)],
        "partialFingerprints": {FINGERPRINT: finding.fingerprint},
        "properties": _properties(finding),
    }
    if finding.sources:
        row["taxa"] = [
            {"id": plain(key), "index": sources.index(key), "toolComponent": {"name": "sources", "index": 0}}
            for key in finding.sources
        ]
    if finding.waived_by is not None:
        row["suppressions"] = [_suppression(finding.waived_by, report.waivers)]
    if finding.baseline is not None:
        row["baselineState"] = finding.baseline
    return row


def _suppression(key: str, waivers: Sequence[WaiverFacts]) -> Row:
    waiver = next((row for row in waivers if row.key == key), None)
    why = key if waiver is None else f"{waiver.owner}: {waiver.reason} ({given(waiver)})"
    suppression: Row = {"kind": "external", "status": "accepted", "justification": message_text(why)}
    return suppression if waiver is None else suppression | {"properties": {"givenIn": waiver.given_in}}


def _location(report: Report, side: str, finding: Finding | None) -> Row:
    """Point at the line of the delivery file: the finding's own, else that of the side's audio."""
    line = None if finding is None else finding.location.line
    if line is None:
        line = next((row.line for row in report.sides if row.id == side), None)
    place: Row = {"artifactLocation": {"uri": file_uri(report.delivery.file), "index": 0}}
    if line is not None:
        place["region"] = {"startLine": line}
    location: Row = {"physicalLocation": place}
    if side:
        location["logicalLocations"] = [{"name": plain(side), "fullyQualifiedName": plain(_qualified(side, finding))}]
    return location


def _qualified(side: str, finding: Finding | None) -> str:
    track = None if finding is None else finding.location.track
    return f"side {side}" if track is None else f"side {side}/track {track}"


def _properties(finding: Finding) -> Row:
    """Return place, measured value and limit as numbers, under the names of the JSON report."""
    at, second = finding.location, MeasuredFinding(finding, finding.measure).second
    measured = finding.measured
    row: Row = {
        "time": None if second is None else clock(second),
        "side": plain(at.side) or None,
        "track": at.track,
        "channel": at.channel,
        "start_s": at.start_s,
        "end_s": at.end_s,
        "radius_mm": at.radius_mm,
        "field": None if at.field is None else plain(at.field),
        "measure": finding.measure or None,
        "measured": plain(measured) if isinstance(measured, str) else _quantity(measured),
        "limit": None if finding.limit is None else _limit(finding.limit),
        "margin": finding.margin,
        "remedy": plain(finding.remedy),
    }
    return {name: value for name, value in row.items() if value is not None}


def _limit(limit: Limit) -> Mapping[str, Any]:
    """Return the fields of a limit as in the JSON report, without empty ones."""
    fields = ((name, value) for name, value in limit.model_dump(mode="json").items() if value not in (None, ""))
    return {name: plain(value) if isinstance(value, str) else value for name, value in fields}


def _quantity(quantity: Quantity) -> Row:
    more = {"bound": quantity.bound, "accuracy": quantity.accuracy}
    return {"value": quantity.value, "unit": quantity.unit, **{name: word for name, word in more.items() if word}}


def file_uri(name: str) -> str:
    """Write the name of a file of the delivery as a relative URI reference."""
    bytes_apart = re.sub(
        "[\ud800-\udc7f\udd00-\udfff]", "\ufffd", name
    )  # the other surrogates are bytes that are not UTF-8
    return quote(bytes_apart, safe="/", errors="surrogateescape")


def plain(text: str) -> str:
    """Write a text other than a message on one line, with control characters as escapes."""
    return shown(text, LONGEST)


def message_text(text: str) -> str:
    """Write the text of a message on one line, without placeholders (3.11.5) or links (3.11.6)."""
    line = plain(text).replace("{", "{{").replace("}", "}}")
    return re.sub(r"([\[\]\\])", r"\\\1", line) if "](" in line else line
