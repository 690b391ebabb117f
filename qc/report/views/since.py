"""What became of an earlier report's findings, in words: what is fixed, what is new, what is as before."""

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
"""Passages of one fate that the usual report tells."""
TOGETHER = 0.5
"""s within which findings are one passage."""
LABEL = 13
LONGEST = 120
"""Characters of a file name."""
MARKS = {"new": "new", "unchanged": "as before"}


class Fate(NamedTuple):
    """What became of some findings: a word for them, and the findings, the gravest first."""

    word: str
    found: tuple[MeasuredFinding, ...]


def fates(report: Report) -> list[Fate]:
    """Give what became of every finding of either report, what matters most first; empty without an earlier report."""
    before = report.baseline
    if before is None:
        return []
    now = whole(report)
    several = (
        ("new", (one for one in now if one.finding.baseline == "new")),
        ("fixed", _found(before.gone)),
        ("not judged", _found(before.not_judged)),
        ("unsure", _found(before.unsure)),
        ("as before", (one for one in now if one.finding.baseline == "unchanged")),
    )
    return [Fate(word, tuple(sorted(found, key=lambda one: one.gravity))) for word, found in several]


def earlier_only(report: Report) -> list[Fate]:
    """Give the fates of what only the earlier report has; the others stand among the findings. None is empty."""
    return [fate for fate in fates(report) if fate.found and fate.word not in MARKS.values()]


def _found(findings: Iterable[Finding]) -> Iterator[MeasuredFinding]:
    return (MeasuredFinding(finding, finding.measure) for finding in findings)


def heading(before: BaselineFacts) -> str:
    """Say in a line what changed: "Since the report of 2026-03-02 (first.json): 3 fixed, 1 new, 4 as before"."""
    day = f"of {shown(before.started[:10])} ({shown(before.file, LONGEST)})" if before.started else ""
    counts = {"fixed": len(before.gone), "new": before.new, "as before": before.unchanged}
    more = {"not judged any more": len(before.not_judged), "cannot be decided": len(before.unsure)}
    said = [f"{count} {word}" for word, count in counts.items()] + [f"{n} {word}" for word, n in more.items() if n]
    return f"Since the report {day or shown(before.file, LONGEST)}: {', '.join(said)}"


def judged_otherwise(report: Report, before: BaselineFacts) -> str:
    """Say that the earlier report was judged by another version; empty where it was the same."""
    same = before.ruleset == f"{report.ruleset.name}@{report.ruleset.version}"
    return "" if same else f"it was judged by {shown(before.ruleset)}, so limits may differ"


def other_level_words(before: BaselineFacts) -> Iterator[str]:
    """Say which sides were judged at another level, and what that means for what is fixed and what is new."""
    for one in before.other_levels:
        levels = f"side {one.side} was judged at {one.then:+.1f} dB then and is at {one.now:+.1f} dB now"
        yield f"{levels}: limits of the groove may be newly exceeded or fixed by the level alone"


def left_out_words(before: BaselineFacts) -> Iterator[str]:
    """Say which findings could not be compared, since a report left them out."""
    for one in before.left_out:
        where = f"{one.check} on {one.side or 'the delivery'}"
        yield f"{where}: the milder ones were left out, {one.then} then and {one.now} now, and are not compared"


def told(page: Page, report: Report, *, verbose: bool) -> None:
    """Write what changed since the earlier report, each passage with its place; `verbose`: each finding."""
    before = report.baseline
    if before is None:
        return
    page.blank()
    page.say(heading(before), body="bold")
    if otherwise := judged_otherwise(report, before):
        page.say(otherwise, label="  ", indent=4)
    for words in other_level_words(before):
        page.say(words, label="  ", indent=4)
    for fate in fates(report):
        if verbose:
            lines = [whole_line(one) for one in fate.found]
        elif fate.word == "as before":  # these stand below
            continue
        else:
            lines = [_passage(group) for group in passages(fate.found)]
            lines[FEW:] = [f"and {len(lines) - FEW} more: --verbose"] if len(lines) > FEW else []
        for index, line in enumerate(lines):
            page.say(line, label=("" if index else f"  {fate.word}").ljust(LABEL), indent=LABEL + 2)
    for words in left_out_words(before):
        page.say(words, label="  ", indent=4)


def passages(found: Iterable[MeasuredFinding]) -> list[list[MeasuredFinding]]:
    """Put findings of one side and track that lie within half a second together, in the order of gravity."""
    groups: list[list[MeasuredFinding]] = []
    for one in found:
        near = next((group for group in groups if _together(group[0], one)), None)
        if near is None:
            groups.append([one])
        else:
            near.append(one)
    return groups


def _together(one: MeasuredFinding, other: MeasuredFinding) -> bool:
    if (one.side, one.finding.location.track) != (other.side, other.finding.location.track):
        return False
    if one.second is None or other.second is None:
        return one.second is other.second
    return abs(one.second - other.second) <= TOGETHER


def _passage(group: list[MeasuredFinding]) -> str:
    """Write where a passage lies and what was found there: "A 0:10.093, track 2: CHECK, CHECK"."""
    checks = dict.fromkeys(one.finding.check + (", waived" if one.finding.waived_by else "") for one in group)
    return f"{place(group[0], briefly=True)}: {', '.join(checks)}"


def whole_line(one: MeasuredFinding) -> str:
    """Write where a finding lies and what it is: "A 0:10.093, track 2 CHECK: 371 g, above 300 g"."""
    waived = ", waived" if one.finding.waived_by else ""
    return f"{place(one)} {one.finding.check}: {one.over or one.finding.message}{waived}"


def mark(finding: Finding) -> str:
    """Give the word for what a finding is beside the earlier report; empty without one."""
    return "" if finding.baseline is None else MARKS[finding.baseline]


def marked(one: MeasuredFinding) -> str:
    """Give what stands behind a place: that it is new, where there was an earlier report."""
    return ", new" if one.finding.baseline == "new" else ""


def counted_words(report: Report, *, strict: bool) -> str:
    """Say how many findings count where only new ones do."""
    before, what = report.baseline, "fails or warns" if strict else "fails"
    wrong = [one for one in report.results if before is not None and one.check in before.always]
    always = sum(counted_of(one, before, strict=strict) for one in wrong)
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
