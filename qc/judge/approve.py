"""Approve a judged delivery: the approval that its report allows, or the sentence why it is refused."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Self

from qc.delivery.approvals import ApprovedDespite, ApprovedFile, ApprovedSide, GivenApproval, printable
from qc.judge.approvals import digests
from qc.model.errors import UsageError
from qc.model.quantity import show
from qc.model.report import Report, SideReport
from qc.text.numbers import listed
from qc.text.sanitize import shown
from qc.text.suggest import meant

LONGEST_NAME, LONGEST_NOTE = 100, 1_000
"""Characters of a name, and of a note or reason."""


@dataclass(frozen=True)
class ApproveRequest:
    """Who approves a delivery, with a note, and the failing checks that are accepted, each with its reason."""

    by: str
    note: str = ""
    despite: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def parse(cls, by: str, note: str | None, despite: Sequence[str], reasons: Sequence[str]) -> Self:
        """Parse the options of the command; raises UsageError, one sentence."""
        if len(despite) != len(reasons):
            raise UsageError("--despite: each check needs a reason of its own; write --despite CHECK --reason TEXT")
        rows: dict[str, str] = {}
        for check, reason in zip(despite, reasons, strict=True):
            if check in rows:
                raise UsageError(f"--despite {shown(check)}: the check is named twice")
            rows[check] = _line("--reason", reason, LONGEST_NOTE)
        return cls(
            _line("--by", by, LONGEST_NAME), "" if note is None else _line("--note", note, LONGEST_NOTE), rows
        )  # fmt: skip


@dataclass(frozen=True)
class ApprovalDecision:
    """An approval, or the sentence why there is none, with the exit code."""

    report: Report
    approval: GivenApproval | None = None
    refused: str = ""
    code: int = 0


def decide(report: Report, request: ApproveRequest, never: Collection[str], today: date) -> ApprovalDecision:
    """Approve what a report is of, where nothing fails but the checks that the request names.

    `never` are the checks whose failure cannot be accepted. Raises UsageError for a named check that does not fail.
    """
    failing = sorted({result.check for result in report.results if result.outcome == "fail"})
    for check in request.despite:
        if check not in failing:
            what = meant(check, failing) if failing else "no check fails"
            raise UsageError(f"--despite {shown(check)}: this check does not fail here; {what}")
    if report.verdict == "error":
        return ApprovalDecision(report, refused="not approved: a check could not be run, see sidegate check", code=3)
    if unsound := [check for check in failing if check in never]:
        why = "no other result means anything before that is fixed"
        return ApprovalDecision(report, refused=f"not approved, since {listed(unsound)} failed, and {why}", code=1)
    if open_ := [check for check in failing if check not in request.despite]:
        fix = "fix it, or accept it" if len(open_) == 1 else "fix them, or accept each"
        return ApprovalDecision(
            report,
            refused=f"not approved, since {listed(open_)} failed; {fix} by --despite CHECK --reason TEXT",
            code=1,
        )
    if unread := [side.id for side in report.sides if None in digests(side)]:
        return ApprovalDecision(report, refused=f"not approved: side {listed(unread)} has no digest", code=1)
    return ApprovalDecision(report, _approval(report, request, today))


def _approval(report: Report, request: ApproveRequest, today: date) -> GivenApproval:
    verdict, delivery = report.verdict, report.delivery
    assert verdict != "error"  # refused before
    return GivenApproval(
        by=request.by, on=today, verdict=verdict, title=printable(delivery.title),
        catalogue=printable(delivery.catalogue) or None, delivery=delivery.sha256,
        ruleset=f"{report.ruleset.name}@{report.ruleset.version}", ruleset_sha256=report.ruleset.sha256,
        level=report.level, sides=tuple(map(_side, report.sides)),
        despite=tuple(ApprovedDespite(check=check, reason=reason) for check, reason in request.despite.items()),
        note=request.note or None, tool=report.tool,
    )  # fmt: skip


def _side(side: SideReport) -> ApprovedSide:
    names = [file.file for file in side.audio.files] or [side.audio.file]
    files = [
        ApprovedFile(file=printable(name), sha256=digest)
        for name, digest in zip(names, digests(side), strict=True)
        if digest is not None
    ]
    level = None if side.levels is None else show(side.levels.judged.value, "dB")
    return ApprovedSide(side=side.id, level=level, audio=tuple(files))


def _line(option: str, text: str, longest: int) -> str:
    """Return a text of the command line on one line; raises UsageError for one that cannot be printed."""
    line = " ".join(text.split())
    if not line:
        raise UsageError(f"{option}: the text is empty; fill it in")
    if len(line) > longest:
        raise UsageError(f"{option}: the text has {len(line)} characters; write at most {longest}")
    if not line.isprintable():
        raise UsageError(f'{option} "{shown(line)}": the text has characters that cannot be printed; leave them out')
    return line
