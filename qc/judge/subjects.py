"""The outcome of a delivery by subject: programme, groove and paperwork."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any, get_args

from qc.model.report import Subject, SubjectState, SubjectVerdict
from qc.plugin_base import Check, CheckResult

AREAS: Mapping[str, Subject] = {
    "groove": "groove", "hf": "groove", "delivery": "paperwork", "layout": "paperwork",
}  # fmt: skip
"""Subject of the checks of an area; those of all other areas are about the programme."""
STATES: tuple[SubjectState, ...] = ("error", "fail", "warn")
"""Outcomes that decide a subject, the most serious first."""


def subject_verdicts(results: Iterable[CheckResult], checks: Iterable[Check[Any]]) -> tuple[SubjectVerdict, ...]:
    """Return the outcome of each subject; a waived check counts as a pass, as it does in the verdict."""
    stated = {check.id: check.subject for check in checks if check.subject is not None}
    outcomes: dict[Subject, Counter[str]] = {subject: Counter() for subject in get_args(Subject)}
    for result in results:
        outcomes[stated.get(result.check) or _of_area(result.check)][result.outcome] += 1
    return tuple(_verdict(subject, counts) for subject, counts in outcomes.items())


def _of_area(check_id: str) -> Subject:
    return AREAS.get(check_id.partition(".")[0], "programme")


def _verdict(subject: Subject, counts: Counter[str]) -> SubjectVerdict:
    judged: SubjectState = "pass" if counts["pass"] or counts["waived"] else "not_measured"
    state = next((state for state in STATES if counts[state]), judged)
    return SubjectVerdict(
        subject=subject, verdict=state, fail=counts["fail"], warn=counts["warn"], waived=counts["waived"]
    )
