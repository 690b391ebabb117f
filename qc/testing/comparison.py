"""Compare the report of a case with its expectations; each difference is one sentence with both."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from qc.testing.case_file import Case, Expected
from qc.testing.deliveries import JudgedReport
from qc.testing.findings import Found, assert_outcome, reaches, result_of
from qc.testing.written import Number
from qc.text.suggest import meant


def hold(case: Case, judged: JudgedReport) -> None:
    """Compare a report with the expectations of a case; raises AssertionError with a line for each difference."""
    if differences := differences_of(case, judged):
        raise AssertionError("\n".join(differences))


def differences_of(case: Case, judged: JudgedReport) -> list[str]:
    """Return every difference of a report from the expectations of a case, a sentence each."""
    expected = case.file.expect
    try:
        result = result_of(judged, case.check, expected.side)
    except AssertionError as why:  # the check did not run, so that there is nothing to compare
        return [str(why)]
    findings = result["findings"]
    if result["side"] is None and expected.side is not None:
        findings = [finding for finding in findings if finding["location"]["side"] == expected.side]
    side = expected.side or case.file.sides[0].id
    return [
        *_outcome(case, judged, expected.side),
        *_counts(case.check, judged, result, findings, expected),
        *(line for name, number in expected.measured.items() for line in _measured(judged, side, name, number)),
        *_says(case.check, result, expected),
        *_finding(case.check, findings, expected),
    ]


def _outcome(case: Case, judged: JudgedReport, side: str | None) -> list[str]:
    try:
        assert_outcome(judged, case.check, case.outcome, side=side)
    except AssertionError as why:
        return [str(why)]
    return []


def _counts(
    check_id: str, judged: JudgedReport, result: dict[str, Any], findings: Sequence[Found], expected: Expected
) -> Iterator[str]:
    """Compare the numbers of findings: all, waived, and new or fixed since the baseline."""
    omitted = result["findings_omitted"] if len(findings) == len(result["findings"]) else 0
    waived = [finding for finding in findings if finding["waived_by"] is not None]
    new = [finding for finding in findings if finding["baseline"] == "new"]
    fixed = _fixed(check_id, judged, result["side"] or expected.side)
    compared = (
        ("findings", expected.findings, len(findings) + omitted, findings),
        ("waived findings", expected.waived, result["findings_waived"] if omitted else len(waived), waived),
        ("new findings", expected.new, len(new), new),
        ("fixed findings", expected.fixed, len(fixed), fixed),
    )
    for what, wanted, count, of in compared:
        if wanted is not None and count != wanted:
            counted = what.removesuffix("s") if count == 1 else what
            yield f"{check_id} has {count} {counted}, not {wanted}: {_messages(of)}"


def _fixed(check_id: str, judged: JudgedReport, side: str | None) -> list[Found]:
    """Return the findings of the baseline that were fixed, of one side or all."""
    gone: list[Found] = (judged.report["baseline"] or {}).get("gone", [])
    return [row for row in gone if row["check"] == check_id and side in {None, row["location"]["side"]}]


def _says(check_id: str, result: dict[str, Any], expected: Expected) -> Iterator[str]:
    messages = [finding["message"] for finding in result["findings"]]
    said = [text for text in (result["reason"], *messages) if text]
    if expected.says is not None and not any(expected.says in text for text in said):
        yield f'{check_id} does not say "{expected.says}"; it says: {"; ".join(said[:5]) or "nothing"}'


def _measured(judged: JudgedReport, side: str, name: str, number: Number) -> Iterator[str]:
    measurements = judged.side(side)["measurements"]
    if name not in measurements:
        yield f"{name} was not measured on side {side}; {meant(name, measurements)}"
    elif wrong := _outside(number, measurements[name]["value"], measurements[name]["unit"]):
        yield f"{name} on side {side} {wrong}"


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


def _differences(found: Found, expected: Expected) -> Iterator[str]:
    """Yield how a finding differs from the expected one."""
    where = found["location"]
    if expected.severity is not None and found["severity"] != expected.severity:
        yield f"it {found['severity']}s"
    for name, wanted in (("track", expected.track), ("channel", expected.channel), ("field", expected.field)):
        if wanted is not None and where[name] != wanted:
            yield f"its {name} is {where[name]}, not {wanted}"
    if expected.at is not None and not reaches(where, expected.at, expected.within):
        there = "nowhere in particular" if where["start_s"] is None else f"at {where['start_s']:.3f} s"
        yield f"it lies {there}, not within {expected.within:g} s of {expected.at:g} s"
    if expected.remedy is not None and expected.remedy not in found["remedy"]:
        yield f'its remedy is "{found["remedy"]}"'
    yield from _number_differs(found["measured"], expected)


def _number_differs(measured: Any, expected: Expected) -> Iterator[str]:
    """Yield how the number or text of a finding differs from the expected one."""
    number = not isinstance(measured, str)
    if expected.kind is not None and measured != expected.kind:
        yield "it gives a number" if number else f'it gives "{measured}"'
    if expected.found is None:
        return
    if not number:
        yield f'it gives "{measured}", no number'
    elif wrong := _outside(expected.found, measured["value"], measured["unit"]):
        yield f"its number {wrong}"


def _finding(check_id: str, findings: Sequence[Found], expected: Expected) -> Iterator[str]:
    """Yield how each finding differs where none is as expected."""
    if not expected.finding:
        return
    differing = [(finding["message"], [*_differences(finding, expected)]) for finding in findings]
    if not findings:
        yield f"{check_id} found nothing, and a finding is expected"
    elif all(differences for _, differences in differing):
        each = "; ".join(f"{message} - {', '.join(differences)}" for message, differences in differing[:5])
        yield f"{check_id} has no finding that is as expected: {each}"


def _messages(findings: Sequence[Found]) -> str:
    return "; ".join(finding["message"] for finding in findings[:5]) or "none"
