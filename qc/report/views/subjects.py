"""The outcome by subject in words: "programme fail (2 fail, 1 warn), groove pass, paperwork pass"."""

from __future__ import annotations

from qc.model.report import Report, SubjectVerdict

STATES = {"error": "could not be judged", "not_measured": "not measured"}
"""Outcomes of a subject that have other words than their names."""


def subjects_words(report: Report) -> str:
    """Write the outcome of programme, groove and paperwork; empty for reports that did not state it."""
    return ", ".join(_words(subject) for subject in report.subjects)


def _words(subject: SubjectVerdict) -> str:
    counts = {"fail": subject.fail, "warn": subject.warn, "waived": subject.waived}
    words = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    state = STATES.get(subject.verdict, subject.verdict)
    return f"{subject.subject} {state} ({words})" if words else f"{subject.subject} {state}"
