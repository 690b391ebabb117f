"""Changes since an earlier report in words: findings fixed, new, and as before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from qc.judge.findings import MeasuredFinding, whole
from qc.judge.severity import counted, counted_of
from qc.model.report import BaselineFacts, Finding, Report
from qc.report.views.findings import place
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

FEW = 5
"""Passages of a state that the usual report shows."""
TOGETHER = 0.5
"""Seconds within which findings belong to the same passage."""
LABEL = 13
LONGEST = 120
"""Characters of a file name."""
MARKS = {"new": "new", "unchanged": "as before"}


class ChangeGroup(NamedTuple):
    """Findings with the same state since the earlier report ("new", "fixed" ...), the most serious first."""

    word: str
    findings: tuple[MeasuredFinding, ...]


def change_groups(report: Report) -> list[ChangeGroup]:
    """Group the findings of both reports by state, the most important state first; empty without an earlier report."""
    before = report.baseline
    if before is None:
        return []
    now = whole(report)
    states = (
        ("new", (measured for measured in now if measured.finding.baseline == "new")),
        ("fixed", _measured(before.gone)),
        ("not judged", _measured(before.not_judged)),
        ("unsure", _measured(before.unsure)),
        ("as before", (measured for measured in now if measured.finding.baseline == "unchanged")),
    )
    return [
        ChangeGroup(word, tuple(sorted(findings, key=lambda measured: measured.gravity))) for word, findings in states
    ]


def earlier_only(report: Report) -> list[ChangeGroup]:
    """Return the states of findings that only the earlier report has, without empty ones."""
    return [group for group in change_groups(report) if group.findings and group.word not in MARKS.values()]


def _measured(findings: Iterable[Finding]) -> Iterator[MeasuredFinding]:
    return (MeasuredFinding(finding, finding.measure) for finding in findings)


def heading(before: BaselineFacts) -> str:
    """Summarise the changes in a line: "Since the report of 2026-03-02 (first.json): 3 fixed, 1 new, 4 as before"."""
    day = f"of {shown(before.started[:10])} ({shown(before.file, LONGEST)})" if before.started else ""
    counts = {"fixed": len(before.gone), "new": before.new, "as before": before.unchanged}
    more = {"not judged any more": len(before.not_judged), "cannot be decided": len(before.unsure)}
    parts = [f"{count} {word}" for word, count in counts.items()] + [f"{n} {word}" for word, n in more.items() if n]
    return f"Since the report {day or shown(before.file, LONGEST)}: {', '.join(parts)}"


def judged_otherwise(report: Report, before: BaselineFacts) -> str:
    """Write that another version of the ruleset judged the earlier report; empty where it was the same."""
    same = before.ruleset == f"{report.ruleset.name}@{report.ruleset.version}"
    return "" if same else f"it was judged by {shown(before.ruleset)}, so limits may differ"


def other_level_words(before: BaselineFacts) -> Iterator[str]:
    """Yield a sentence for each side that was judged at another level."""
    for change in before.other_levels:
        levels = f"side {change.side} was judged at {change.then:+.1f} dB then and is at {change.now:+.1f} dB now"
        yield f"{levels}: limits of the groove may be newly exceeded or fixed by the level alone"


def left_out_words(before: BaselineFacts) -> Iterator[str]:
    """Yield a sentence for each check whose findings were partly left out of a report, and so not compared."""
    for change in before.left_out:
        where = f"{change.check} on {change.side or 'the delivery'}"
        counts = f"{change.then} then and {change.now} now"
        yield f"{where}: the less serious findings were left out, {counts}, and are not compared"


def write_changes(page: Page, report: Report, *, verbose: bool) -> None:
    """Write the changes since the earlier report, by passage; with `verbose` finding by finding."""
    before = report.baseline
    if before is None:
        return
    page.blank()
    page.say(heading(before), body="bold")
    if otherwise := judged_otherwise(report, before):
        page.say(otherwise, label="  ", indent=4)
    for words in other_level_words(before):
        page.say(words, label="  ", indent=4)
    for group in change_groups(report):
        if verbose:
            lines = [whole_line(measured) for measured in group.findings]
        elif group.word == "as before":  # the report lists these below
            continue
        else:
            lines = [_passage(passage) for passage in passages(group.findings)]
            lines[FEW:] = [f"and {len(lines) - FEW} more: --verbose"] if len(lines) > FEW else []
        for index, line in enumerate(lines):
            page.say(line, label=("" if index else f"  {group.word}").ljust(LABEL), indent=LABEL + 2)
    for words in left_out_words(before):
        page.say(words, label="  ", indent=4)


def passages(findings: Iterable[MeasuredFinding]) -> list[list[MeasuredFinding]]:
    """Group findings of the same side and track within half a second, in the given order."""
    groups: list[list[MeasuredFinding]] = []
    for measured in findings:
        near = next((group for group in groups if _together(group[0], measured)), None)
        if near is None:
            groups.append([measured])
        else:
            near.append(measured)
    return groups


def _together(first: MeasuredFinding, other: MeasuredFinding) -> bool:
    if (first.side, first.finding.location.track) != (other.side, other.finding.location.track):
        return False
    if first.second is None or other.second is None:
        return first.second is other.second
    return abs(first.second - other.second) <= TOGETHER


def _passage(group: list[MeasuredFinding]) -> str:
    """Write the place and the checks of a passage: "A 0:10.093, track 2: CHECK, CHECK"."""
    checks = dict.fromkeys(
        measured.finding.check + (", waived" if measured.finding.waived_by else "") for measured in group
    )
    return f"{place(group[0], briefly=True)}: {', '.join(checks)}"


def whole_line(measured: MeasuredFinding) -> str:
    """Write the place, check and excess of a finding: "A 0:10.093, track 2 CHECK: 371 g, above 300 g"."""
    waived = ", waived" if measured.finding.waived_by else ""
    return f"{place(measured)} {measured.finding.check}: {measured.over or measured.finding.message}{waived}"


def mark(finding: Finding) -> str:
    """Return the state of a finding since the earlier report: "new", "as before"; empty without an earlier report."""
    return "" if finding.baseline is None else MARKS[finding.baseline]


def marked(measured: MeasuredFinding) -> str:
    """Return ", new" for a new finding, to follow its place; else an empty text."""
    return ", new" if measured.finding.baseline == "new" else ""


def counted_words(report: Report, *, strict: bool) -> str:
    """Count the findings that decide the exit code where only new ones do, in a sentence."""
    before, what = report.baseline, "fails or warns" if strict else "fails"
    wrong = [result for result in report.results if before is not None and result.check in before.always]
    always = sum(counted_of(result, before, strict=strict) for result in wrong)
    count = counted(report, strict=strict) - always
    new = (
        f"{count} new {f'finding {what}' if count == 1 else f'findings {_many(what)}'}"
        if count
        else f"nothing new {what}"
    )
    if not always:
        return f"only what is new counts: {new}"
    findings = "1 finding" if always == 1 else f"{always} findings"
    return f"only what is new counts: {new}; but {findings} of missing or wrong audio always count{'s' * (always == 1)}"


def _many(what: str) -> str:
    return what.replace("fails", "fail").replace("warns", "warn")
