"""The text report: the verdict, what to fix, each side at a glance, its limits, and what passed, in that order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, BinaryIO, Literal

from qc.judge.findings import MeasuredFinding, every
from qc.model.quantity import clock
from qc.plugin_base import Evidence, Renderer, Report
from qc.report.views import requested_level, since
from qc.report.views import waivers as waived
from qc.report.views.approvals import write_approvals, write_approvals_briefly
from qc.report.views.changed import change_lines
from qc.report.views.findings import CheckFindings, findings_by_check, place
from qc.report.views.level_notes import goes_when_clean, gone_lines
from qc.report.views.level_words import option_words
from qc.report.views.plugins import write_plugins
from qc.report.views.stored_sides import measured_earlier_lines
from qc.report.views.subjects import subjects_words
from qc.text.numbers import both, listed, parameter_text
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

Detail = Literal["quiet", "usual", "verbose"]
Counted = Literal["fail", "fail or warn"]
"""Severity of the new findings that count for the exit code."""

LEAST, PIPED, MOST = 60, 96, 120
"""Columns: the narrowest page, the page without a terminal, the widest page."""
SCREEN = 40
"""Lines of the usual report, beyond which it leaves limits out."""
LONGEST = 300
"""Characters of a title."""
FEW = 3
"""Findings of a check on a side that the usual report lists."""
VERDICTS = {
    "pass": "PASS: nothing to fix",
    "warn": "PASS, with warnings to consider",
    "fail": "FAIL: this delivery must be fixed before it is cut",
    "error": "ERROR: a plugin or the tool failed; the report below is incomplete",
}
HEADS = {"pass": "PASS", "warn": "PASS, with warnings", "fail": "FAIL"}
"""Words before the outcome of each subject."""
COLOURS = {"pass": "bold green", "warn": "bold yellow", "fail": "bold red", "error": "bold magenta"}
MARGIN = 6


class Text(Renderer):
    """Writes the report for a person at a terminal, `width` columns wide."""

    name = "text"
    suffixes = (".txt",)

    def __init__(
        self, *, width: int = PIPED, colour: bool = False, ascii_only: bool = False, detail: Detail = "usual",
        only_new: Counted | None = None,
    ) -> None:  # fmt: skip
        self.width = min(max(width, LEAST), MOST)
        self.colour, self.ascii_only, self.detail, self.only_new = colour, ascii_only, detail, only_new

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Write the report as UTF-8, or in ASCII where that was requested."""
        from qc.text.page import Page  # slow to import, and needed by this format only

        page = Page(self.width, colour=self.colour, ascii_only=self.ascii_only)
        page.say(first_line(report), body=COLOURS[report.verdict])
        if self.only_new is not None:
            page.say(since.counted_words(report, strict=self.only_new == "fail or warn"), indent=2, body="yellow")
        if self.detail == "quiet":
            _quiet(page, report)
        else:
            _whole(page, report, verbose=self.detail == "verbose")
        out.write(page.text.encode("utf-8", "replace"))


def first_line(report: Report) -> str:
    """Write the verdict with those of programme, groove and paperwork; of a run that failed, its sentence alone."""
    words = subjects_words(report)
    if report.verdict == "error" or not words:
        return VERDICTS[report.verdict]
    return f"{HEADS[report.verdict]}: {words}"


def _quiet(page: Page, report: Report) -> None:
    """Write a line for each failure, below the verdict."""
    _changes(page, report)
    for line in measured_earlier_lines(report.run):
        page.say(line, indent=2, body="dim")
    if report.baseline is not None:
        page.say(since.heading(report.baseline), indent=2)
    write_plugins(page, report.plugin_failures, report.plugin_warnings)
    failing = findings_by_check(report, "fail", by_side=True)
    listed_ids = {id(measured.finding) for group in failing for measured in group.first(FEW)}
    for measured in every(report):
        if id(measured.finding) in listed_ids:
            page.say(_short(page, measured), indent=2)
    for group in failing:
        if rest := group.count - len(group.first(FEW)):
            page.say(f"{group.most_serious.side} {group.check}: and {rest} more", indent=2)
    waived.write_waivers_briefly(page, report)
    write_approvals_briefly(page, report)


def _short(page: Page, measured: MeasuredFinding) -> str:
    """Write a finding in a line, with as much of its place as fits."""
    words = (measured.over or measured.finding.message) + since.marked(measured)
    where = place(measured)
    short = ", ".join(where.split(", ")[:2])
    lines = [f"{part} {measured.finding.check}: {words}" for part in (where, short, short.split(",")[0])]
    lines.append(f"{short.split(',')[0]} {measured.finding.check}: {measured.value}{since.marked(measured)}")
    return next((line for line in lines if page.fits(line)), lines[-1])


def _whole(page: Page, report: Report, *, verbose: bool) -> None:
    from qc.report.views.glance import end, noted, sides

    _headline(page, report, verbose=verbose)
    write_plugins(page, report.plugin_failures, report.plugin_warnings)
    since.write_changes(page, report, verbose=verbose)
    written: set[str] = set()
    failing = findings_by_check(report, "fail", by_side=True)
    if failing:
        page.blank()
    for group in failing:
        _findings(page, report, group, written, verbose=verbose)
    warning = findings_by_check(report, "warn", by_side=verbose, without=None if verbose else goes_when_clean)
    lines = gone_lines(report)
    if warning or lines:
        page.blank()
    if verbose:
        for group in warning:
            _findings(page, report, group, written, verbose=True)
    elif warning:
        _warnings(page, report, warning, remedies=not failing)
    for line in lines:
        page.say(line, label="WARN".ljust(MARGIN), style="yellow")
    waived.write_waivers(page, report, verbose=verbose)
    write_approvals(page, report, verbose=verbose)
    page.blank()
    sides(page, report, spare=None if verbose else SCREEN - page.lines)
    noted(page, report, verbose=verbose)
    end(page, report, verbose=verbose)


def _headline(page: Page, report: Report, *, verbose: bool) -> None:
    name = " ".join(part for part in (report.delivery.catalogue, report.delivery.title) if part)
    page.say(f"{shown(name, LONGEST)}, judged by {report.ruleset.name}@{report.ruleset.version}", indent=2)
    _changes(page, report)
    for line in measured_earlier_lines(report.run):
        page.say(line, indent=2, body="dim")
    if words := waived.tally(report):
        page.say(words, indent=2, body="yellow")
    if verbose:
        page.say(f"{report.tool} with {listed(report.plugins)}", indent=2, body="dim")
        page.say(f"{shown(report.delivery.file, LONGEST)}, SHA-256 {report.delivery.sha256}", indent=2, body="dim")
        page.say(f"ruleset, SHA-256 {report.ruleset.sha256}", indent=2, body="dim")
        for parameter, facts in report.ruleset.parameters.items():
            words = f"{parameter} is {shown(parameter_text(facts), LONGEST)} ({shown(facts.source, LONGEST)})"
            page.say(words, indent=2, body="dim")
    if verbose and report.delivery.notes:
        page.say(shown(report.delivery.notes, 10 * LONGEST), label="notes: ", indent=2)


def _changes(page: Page, report: Report) -> None:
    for line in change_lines(report.ruleset):
        page.say(line, indent=2, body="yellow")
    if option := option_words(report):
        page.say(option, indent=2, body="yellow")


def _findings(page: Page, report: Report, group: CheckFindings, written: set[str], *, verbose: bool) -> None:
    """Write the findings of a check on a side, the most serious first, and the remedies that `written` lacks."""
    word, style = ("FAIL", "bold red") if group.most_serious.finding.severity == "fail" else ("WARN", "yellow")
    where = place(group.most_serious, fully=verbose)
    headed = where + since.marked(group.most_serious)
    page.say(f"{group.check} {page.clean('·')} {headed}", label=word.ljust(MARGIN), style=style, body="bold")
    listed_findings = group.findings if verbose else group.first(FEW)
    for measured in listed_findings:
        here = place(measured, fully=verbose) + since.marked(measured)
        sources = f" ({', '.join(measured.finding.sources)})" if verbose and measured.finding.sources else ""
        prefix = "" if here == headed else f"{here}: "
        page.say(f"{prefix}{measured.finding.message}{sources}{_level_note(report, measured)}.", label=" " * MARGIN)
        if verbose and (numbers := _remedy_numbers(measured)):  # these numbers hold for this place only
            page.say(numbers, label=" " * MARGIN + "> ", body="italic")
    if rest := group.count - len(listed_findings):
        page.say(f"And {rest} more of this kind.", label=" " * MARGIN)
    for remedy in dict.fromkeys(_remedies(listed_findings, verbose=verbose)):
        if remedy and remedy not in written:
            words = remedy if verbose else _place_of_remedy(remedy, listed_findings) + gist(remedy)
            words += _fixed_too(report, group)
            page.say(words, label=" " * MARGIN + "> ", body="italic")
        written.add(remedy)


def _fixed_too(report: Report, group: CheckFindings) -> str:
    """Count the other failures that the recommended level fixes, in a sentence; empty for findings of another kind."""
    side = next((side for side in report.sides if side.id == group.most_serious.side), None)
    if side is None or group.most_serious.measure != requested_level.OVER:
        return ""
    count, others = requested_level.fixed_by_recommended(report, side)
    if not count:
        return ""
    return f" That level fixes {f'{count} of the {others} others' if others > 1 else 'the other one'} too."


def _place_of_remedy(remedy: str, findings: Sequence[MeasuredFinding]) -> str:
    """Write the place of a remedy with numbers, where there are several findings; else an empty text."""
    measured = next(
        (measured for measured in findings if measured.finding.remedy == remedy and _remedy_numbers(measured)), None
    )
    start = None if measured is None else measured.finding.location.start_s
    return "" if start is None or len(findings) == 1 else f"At {clock(start)}: "


def _remedy_numbers(measured: MeasuredFinding) -> str:
    """Return the texts of a finding's remedies with numbers, joined."""
    return " ".join(remedy.says for remedy in measured.finding.remedies if remedy.says)


def _remedies(findings: Sequence[MeasuredFinding], *, verbose: bool) -> list[str]:
    """Return the remedies of a group: the first with numbers unless `verbose`, else those without numbers."""
    if not verbose and (worked := [measured.finding.remedy for measured in findings if _remedy_numbers(measured)]):
        return worked[:1]
    return [measured.finding.remedy.removeprefix(_remedy_numbers(measured)).lstrip() for measured in findings]


def _level_note(report: Report, measured: MeasuredFinding) -> str:
    """Write a note where the exceeded limit sets the level of its side; else an empty text."""
    levels = next((side.levels for side in report.sides if side.id == measured.finding.location.side), None)
    if levels is None or levels.ruling is None or levels.ruling != measured.limit_name(report):
        return ""
    return "; it limits the level"


def gist(remedy: str) -> str:
    """Return the first sentence of a remedy; the verbose report has the rest."""
    first, stop, _ = remedy.partition(". ")
    return first + stop.strip()


def _warnings(page: Page, report: Report, warning: list[CheckFindings], *, remedies: bool) -> None:
    """Write a line for each check that warned: count, worst place and value, limit, and the level that reaches it."""
    rows = []
    for group in warning:
        measured = group.most_serious
        name = measured.limit_name(report)
        limit = report.ruleset.limits.get(name)
        side = next((side for side in report.sides if side.id == measured.finding.location.side), None)
        reached = None if side is None or side.levels is None else side.levels.by_limit.get(name)
        where = place(measured).split(",")[0]
        value = measured.finding.measured if isinstance(measured.finding.measured, str) else measured.value
        count = f"{group.count}x" if group.count > 1 else ""
        limits = both(limit) if limit else ""
        rows.append((name or group.check, count, where, value, limits, str(reached.level) if reached else ""))
    page.table(("WARN", "", "worst at", "value", "warn/fail", "reached at"), rows, left=3, least=5, head_style="yellow")
    for group in warning if remedies else ():
        if remedy := group.most_serious.finding.remedy:
            page.say(gist(remedy), label="> ", body="italic")
