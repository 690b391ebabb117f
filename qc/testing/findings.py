"""Assertions on a judged delivery; each failure is one sentence with the expected and the actual result."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from qc.testing.deliveries import JudgedReport

Found = dict[str, Any]
NAMES = {"not_applicable": "not applicable", "not_measured": "not measured"}


def result_of(judged: JudgedReport, check: str, side: str | None = None) -> dict[str, Any]:
    """Return the result of a check on a side (by default the first one that has it) or on the delivery.

    Raises AssertionError where the check did not run.
    """
    of_check = [result for result in judged.report["results"] if result["check"] == check]
    if not of_check:
        ruleset = judged.report["ruleset"]
        name = f"{ruleset['name']}@{ruleset['version']}"
        raise AssertionError(
            f"{check} did not run: the ruleset {name} does not name it under limits, or puts it off; name another"
        )
    for result in of_check:
        if side is None or result["side"] in {side, None}:
            found: dict[str, Any] = result
            return found
    sides = ", ".join(str(result["side"]) for result in of_check)
    raise AssertionError(f"{check} did not run on side {side}; it ran on {sides}")


def assert_outcome(judged: JudgedReport, check: str, outcome: str, *, side: str | None = None) -> None:
    """Assert the outcome of a check: pass, warn, fail, waived, not_applicable, not_measured or error."""
    result = result_of(judged, check, side)
    if result["outcome"] != outcome:
        raise AssertionError(
            f"{_named(check, result)} is {_word(result['outcome'])}, not {_word(outcome)}{_why(result)}"
        )


def assert_found(
    judged: JudgedReport, check: str, *, side: str | None = None, severity: str | None = None,
    at_s: float | None = None, within_s: float = 0.05, track: int | None = None, channel: str | None = None,
) -> Found:  # fmt: skip
    """Assert that a check has a finding with the given properties, and return the first one.

    Parameters
    ----------
    side, severity, track, channel
        Properties of the finding; None matches any.
    at_s, within_s
        File second that the finding must cover, and the tolerance in s.

    Raises
    ------
    AssertionError
        One sentence with the actual findings.
    """
    result = result_of(judged, check, side)
    for finding in _of(result, side):
        if _fits(finding, severity, at_s, within_s, track, channel):
            return finding
    asked = _asked(severity, at_s, within_s, track, channel)
    raise AssertionError(f"{_named(check, result)} found nothing{asked}{_why(result)}")


def assert_not_found(
    judged: JudgedReport, check: str, *, side: str | None = None, at_s: float | None = None, within_s: float = 0.05,
    track: int | None = None,
) -> None:  # fmt: skip
    """Assert that a check ran and has no finding with the given properties."""
    result = result_of(judged, check, side)
    if result["outcome"] in {"error", "not_measured"}:
        raise AssertionError(f"{_named(check, result)} judged nothing: {_word(result['outcome'])}{_why(result)}")
    for finding in _of(result, side):
        if _fits(finding, None, at_s, within_s, track, None):
            raise AssertionError(
                f"{_named(check, result)} found what it should not: {finding['message']}{_place(finding)}"
            )


def _of(result: dict[str, Any], side: str | None) -> Iterator[Found]:
    """Yield the findings on a side; a check of the delivery may have findings on several sides."""
    for finding in result["findings"]:
        if side is None or finding["location"]["side"] in {side, ""}:
            yield finding


def _fits(
    finding: Found, severity: str | None, at_s: float | None, within_s: float, track: int | None, channel: str | None
) -> bool:
    where = finding["location"]
    return (
        (severity is None or finding["severity"] == severity)
        and (track is None or where["track"] == track)
        and (channel is None or where["channel"] == channel)
        and (at_s is None or reaches(where, at_s, within_s))
    )


def reaches(where: dict[str, Any], at_s: float, within_s: float) -> bool:
    """Whether a location covers a file second, with a tolerance of `within_s`."""
    start, end = where["start_s"], where["end_s"]
    if start is None:
        return False
    return bool(start - within_s <= at_s <= (start if end is None else end) + within_s)


def _asked(severity: str | None, at_s: float | None, within_s: float, track: int | None, channel: str | None) -> str:
    words = [] if severity is None else [f" that {severity}s"]
    if at_s is not None:
        words.append(f" within {within_s:g} s of {at_s:g} s")
    if track is not None:
        words.append(f" on track {track}")
    if channel is not None:
        words.append(f" in the {channel} channel")
    return "".join(words)


def _named(check: str, result: dict[str, Any]) -> str:
    return check if result["side"] is None else f"{check} on side {result['side']}"


def _word(outcome: str) -> str:
    return NAMES.get(outcome, outcome)


def _why(result: dict[str, Any]) -> str:
    """Return the explanation of a result: its reason, its findings or its measurements."""
    if result["reason"]:
        return f": {result['reason']}"
    findings: Sequence[Found] = result["findings"]
    if findings:
        return "; it found: " + "; ".join(f"{finding['message']}{_place(finding)}" for finding in findings[:5])
    if result["measured"]:
        return "; it measured " + ", ".join(
            f"{name} {number['value']:.6g} {number['unit']}" for name, number in result["measured"].items()
        )
    return ""


def _place(finding: Found) -> str:
    where = finding["location"]
    at = "" if where["start_s"] is None else f" at {where['start_s']:.2f} s"
    return at + ("" if where["track"] is None else f" on track {where['track']}")
