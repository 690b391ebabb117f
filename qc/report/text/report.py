"""The text report: the verdict, what to fix, each side at a glance, its limits, and what passed, in that order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, BinaryIO, Literal

from qc.judge.findings import MeasuredFinding, every
from qc.model.quantity import clock
from qc.plugin_api import Evidence, Renderer, Report
from qc.report.views import requested_level, since
from qc.report.views import waivers as waived
from qc.report.views.changed import change_lines
from qc.report.views.findings import CheckFindings, folds, place
from qc.report.views.level_notes import goes_when_clean, gone_lines
from qc.report.views.level_words import option_words
from qc.report.views.stored_sides import measured_earlier_lines
from qc.text.numbers import both, listed
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

Detail = Literal["quiet", "usual", "verbose"]
Counted = Literal["fail", "fail or warn"]
"""Of new findings, which ones count for the exit code."""

LEAST, PIPED, MOST = 60, 96, 120
"""Columns: no narrower, where nobody says how wide, no wider."""
SCREEN = 40
"""Lines that the usual report fills before it leaves limits out."""
LONGEST = 300
"""Characters of a title; a report is no place for a whole essay."""
FEW = 3
"""Findings of one check on one side that the usual report tells by themselves."""
VERDICTS = {
    "pass": "PASS: nothing to fix",
    "warn": "PASS, with warnings to consider",
    "fail": "FAIL: this delivery must be fixed before it is cut",
    "error": "ERROR: a plugin or the tool failed; what is below is not the whole judgement",
}
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
        """Write UTF-8, or ASCII where that was requested."""
        from qc.text.page import Page  # not before somebody wants to read

        page = Page(self.width, colour=self.colour, ascii_only=self.ascii_only)
        page.say(VERDICTS[report.verdict], body=COLOURS[report.verdict])
        if self.only_new is not None:
            page.say(since.counted_words(report, strict=self.only_new == "fail or warn"), indent=2, body="yellow")
        if self.detail == "quiet":
            _quiet(page, report)
        else:
            _whole(page, report, verbose=self.detail == "verbose")
        out.write(page.text.encode("utf-8", "replace"))


def _quiet(page: Page, report: Report) -> None:
    """Write what must be fixed, a line each, below the verdict."""
    _changes(page, report)
    for line in measured_earlier_lines(report.run):
        page.say(line, indent=2, body="dim")
    if report.baseline is not None:
        page.say(since.heading(report.baseline), indent=2)
    _failures(page, report)
    failing = folds(report, "fail", by_side=True)
    told = {id(one.finding) for fold in failing for one in fold.first(FEW)}
    for one in every(report):
        if id(one.finding) in told:
            page.say(_short(page, one), indent=2)
    for fold in failing:
        if rest := fold.count - len(fold.first(FEW)):
            page.say(f"{fold.gravest.side} {fold.check}: and {rest} more", indent=2)
    waived.briefly(page, report)


def _short(page: Page, one: MeasuredFinding) -> str:
    """Tell a finding in a line: as much of its place as there is room for."""
    told = (one.over or one.finding.message) + since.marked(one)
    where = place(one)
    short = ", ".join(where.split(", ")[:2])
    lines = [f"{part} {one.finding.check}: {told}" for part in (where, short, short.split(",")[0])]
    lines.append(f"{short.split(',')[0]} {one.finding.check}: {one.value}{since.marked(one)}")
    return next((line for line in lines if page.fits(line)), lines[-1])


def _whole(page: Page, report: Report, *, verbose: bool) -> None:
    from qc.report.views.glance import end, sides

    _headline(page, report, verbose=verbose)
    _failures(page, report)
    since.told(page, report, verbose=verbose)
    told: set[str] = set()
    failing = folds(report, "fail", by_side=True)
    if failing:
        page.blank()
    for fold in failing:
        _findings(page, report, fold, told, verbose=verbose)
    warning = folds(report, "warn", by_side=verbose, without=None if verbose else goes_when_clean)
    lines = gone_lines(report)
    if warning or lines:
        page.blank()
    if verbose:
        for fold in warning:
            _findings(page, report, fold, told, verbose=True)
    elif warning:
        _warnings(page, report, warning, remedies=not failing)
    for line in lines:
        page.say(line, label="WARN".ljust(MARGIN), style="yellow")
    waived.told(page, report, verbose=verbose)
    page.blank()
    sides(page, report, spare=None if verbose else SCREEN - page.lines)
    end(page, report, verbose=verbose)


def _headline(page: Page, report: Report, *, verbose: bool) -> None:
    name = " ".join(part for part in (report.delivery.catalogue, report.delivery.title) if part)
    page.say(f"{shown(name, LONGEST)}, judged by {report.ruleset.name}@{report.ruleset.version}", indent=2)
    _changes(page, report)
    for line in measured_earlier_lines(report.run):
        page.say(line, indent=2, body="dim")
    if said := waived.tally(report):
        page.say(said, indent=2, body="yellow")
    if verbose:
        page.say(f"{report.tool} with {listed(report.plugins)}", indent=2, body="dim")
        page.say(f"{shown(report.delivery.file, LONGEST)}, SHA-256 {report.delivery.sha256}", indent=2, body="dim")
        page.say(f"ruleset, SHA-256 {report.ruleset.sha256}", indent=2, body="dim")
    if verbose and report.delivery.notes:
        page.say(shown(report.delivery.notes, 10 * LONGEST), label="notes: ", indent=2)


def _changes(page: Page, report: Report) -> None:
    for line in change_lines(report.ruleset):
        page.say(line, indent=2, body="yellow")
    if option := option_words(report):
        page.say(option, indent=2, body="yellow")


def _failures(page: Page, report: Report) -> None:
    for failure in report.plugin_failures:
        side = f" on side {failure.side}" if failure.side else ""
        page.say(f"plugin {failure.plugin} failed at {failure.stage}{side}: {failure.message}", label="  ", indent=4)


def _findings(page: Page, report: Report, fold: CheckFindings, told: set[str], *, verbose: bool) -> None:
    """Write what one check found on one side, the gravest first, and its remedy where it was not given yet."""
    word, style = ("FAIL", "bold red") if fold.gravest.finding.severity == "fail" else ("WARN", "yellow")
    where = place(fold.gravest, fully=verbose)
    headed = where + since.marked(fold.gravest)
    page.say(f"{fold.check} {page.clean('·')} {headed}", label=word.ljust(MARGIN), style=style, body="bold")
    shown_ones = fold.found if verbose else fold.first(FEW)
    for one in shown_ones:
        here = place(one, fully=verbose) + since.marked(one)
        sources = f" ({', '.join(one.finding.sources)})" if verbose and one.finding.sources else ""
        message = f"{'' if here == headed else f'{here}: '}{one.finding.message}{sources}{_rules(report, one)}."
        page.say(message, label=" " * MARGIN)
        if verbose and (said := _said(one)):  # these numbers are of this place and no other
            page.say(said, label=" " * MARGIN + "> ", body="italic")
    if rest := fold.count - len(shown_ones):
        page.say(f"And {rest} more of this kind.", label=" " * MARGIN)
    for remedy in dict.fromkeys(_remedies(shown_ones, verbose=verbose)):
        if remedy and remedy not in told:
            words = remedy if verbose else _whose(remedy, shown_ones) + gist(remedy)
            words += _fixed_too(report, fold)
            page.say(words, label=" " * MARGIN + "> ", body="italic")
        told.add(remedy)


def _fixed_too(report: Report, fold: CheckFindings) -> str:
    """Say of a level above the recommended one what else the recommended one fixes."""
    side = next((side for side in report.sides if side.id == fold.gravest.side), None)
    if side is None or fold.gravest.measure != requested_level.OVER:
        return ""
    count, others = requested_level.fixed_by_recommended(report, side)
    if not count:
        return ""
    return f" That level fixes {f'{count} of the {others} others' if others > 1 else 'the other one'} too."


def _whose(remedy: str, ones: Sequence[MeasuredFinding]) -> str:
    """Say of which place a remedy with numbers is, where several are told."""
    one = next((one for one in ones if one.finding.remedy == remedy and _said(one)), None)
    start = None if one is None else one.finding.location.start_s
    return "" if start is None or len(ones) == 1 else f"At {clock(start)}: "


def _said(one: MeasuredFinding) -> str:
    """Give what the remedies with numbers of a finding say."""
    return " ".join(remedy.says for remedy in one.finding.remedies if remedy.says)


def _remedies(ones: Sequence[MeasuredFinding], *, verbose: bool) -> list[str]:
    """Give the remedies that are told of all together: in short the first with numbers, else those without any."""
    if not verbose and (worked := [one.finding.remedy for one in ones if _said(one)]):
        return worked[:1]
    return [one.finding.remedy.removeprefix(_said(one)).lstrip() for one in ones]


def _rules(report: Report, one: MeasuredFinding) -> str:
    """Say so where the limit that was not kept is the one that rules the level of its side."""
    levels = next((side.levels for side in report.sides if side.id == one.finding.location.side), None)
    if levels is None or levels.ruling is None or levels.ruling != one.limit_name(report):
        return ""
    return "; it limits the level"


def gist(remedy: str) -> str:
    """Give the first sentence of a remedy; the rest stands in the verbose report."""
    first, stop, _ = remedy.partition(". ")
    return first + stop.strip()


def _warnings(page: Page, report: Report, warning: list[CheckFindings], *, remedies: bool) -> None:
    """Write a line a check that warned: how often, the gravest place and value, the limit and the level it takes."""
    rows = []
    for fold in warning:
        one = fold.gravest
        name = one.limit_name(report)
        limit = report.ruleset.limits.get(name)
        side = next((side for side in report.sides if side.id == one.finding.location.side), None)
        reached = None if side is None or side.levels is None else side.levels.by_limit.get(name)
        where = place(one).split(",")[0]
        value = one.finding.measured if isinstance(one.finding.measured, str) else one.value
        count = f"{fold.count}x" if fold.count > 1 else ""
        limits = both(limit) if limit else ""
        rows.append((name or fold.check, count, where, value, limits, str(reached.level) if reached else ""))
    page.table(("WARN", "", "worst at", "value", "warn/fail", "reached at"), rows, left=3, least=5, head_style="yellow")
    for fold in warning if remedies else ():
        if remedy := fold.gravest.finding.remedy:
            page.say(gist(remedy), label="> ", body="italic")
