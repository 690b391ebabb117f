"""Approvals in words: who, when, of what, where that is written, and what has changed since."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from qc.model.report import ApprovalFacts, Report
from qc.text.numbers import listed
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

FEW = 3
"""Approvals, the last ones of their file, that the usual report lists."""
MOST_CHECKS, MOST_PARTS = 6, 8
"""Accepted checks, and changed parts, that are listed by name: a sender may have written any number."""
LABEL, LONGEST = 8, 300
"""Width of a label, and characters of a name, note or reason."""


def state(approval: ApprovalFacts) -> str:
    """Write whether what was approved is what is judged: the same, or the parts that changed."""
    if approval.changed:
        is_are = "is" if len(approval.changed) == 1 else "are"
        return f"no longer what was approved {is_are} {_listed(approval.changed)}"
    if approval.not_compared:
        return f"unchanged so far; side {_listed(approval.not_compared)} was not read this time"
    return "unchanged since: delivery, audio and ruleset"


def what(approval: ApprovalFacts) -> str:
    """Write what was approved: the verdict, the ruleset and the level that was asked for."""
    level = f" at {shown(approval.level)}" if approval.level else ""
    return f"{approval.verdict.upper()} by {shown(approval.ruleset)}{level}"


def given(approval: ApprovalFacts) -> str:
    """Write the origin of an approval: "approvals.yaml:3, which came with the delivery"."""
    words = {"delivery": ", which came with the delivery", "file": ", named by --approvals"}
    return shown(approval.key, 120) + words[approval.given_in]


def despite(approval: ApprovalFacts, most: int | None = None) -> Iterator[str]:
    """Yield a line for each check that failed and was accepted, `most` at most."""
    for row in approval.despite[:most]:
        yield f"despite {shown(row.check)}: {_line(row.reason)}"
    if most is not None and (rest := len(approval.despite[most:])):
        yield f"and despite {rest} more"


def write_approvals(page: Page, report: Report, *, verbose: bool) -> None:
    """Write the last approvals, with `verbose` all; they change no outcome."""
    if report.approvals or report.approvals_unread:
        page.blank()
    if report.approvals_unread:
        words = f"the approvals that came with the delivery cannot be read: {shown(report.approvals_unread, LONGEST)}"
        page.say(words, label="NOTE".ljust(LABEL), style="yellow")
    rows = report.approvals if verbose else report.approvals[-FEW:]
    for approval in rows:
        word, style = ("CHANGED", "bold yellow") if approval.changed else ("APPROVED", "cyan")
        head = f"on {approval.on} by {_line(approval.by)}: {what(approval)} ({given(approval)})"
        page.say(head, label=f"{word.ljust(LABEL)} ", style=style, body="bold")
        notes = [_line(approval.note)] if approval.note else []
        for line in (state(approval), *despite(approval, None if verbose else MOST_CHECKS), *notes):
            page.say(line, label=" " * (LABEL + 1), indent=LABEL + 3)
    if rest := len(report.approvals) - len(rows):
        page.say(f"and {rest} earlier", label=" " * (LABEL + 1))


def write_approvals_briefly(page: Page, report: Report) -> None:
    """Write a line for the last approval."""
    if report.approvals_unread:
        page.say("the approvals that came with the delivery cannot be read", indent=2, body="yellow")
    for approval in report.approvals[-1:]:
        words = f"on {approval.on} by {_line(approval.by)}: {what(approval)} ({given(approval)}); {state(approval)}"
        page.say(words, label="  approved: ", indent=4)


def _listed(parts: Sequence[str]) -> str:
    """List the first parts by name, and count the others."""
    rest = len(parts) - MOST_PARTS
    return listed([*(shown(part) for part in parts[:MOST_PARTS]), *([f"{rest} more"] if rest > 0 else [])])


def _line(text: str) -> str:
    return shown(" ".join(text.split()), LONGEST)
