"""The comparison of two rulesets as plain text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.model.quantity import Quantity
from qc.model.ruleset_diff import (
    ChainRow,
    Compared,
    LimitRow,
    ParameterRow,
    PolicyRow,
    Release,
    RulesetDiff,
    RulesetName,
    WrittenLimit,
    WrittenParameter,
)
from qc.report.text.plan import LEAST, MOST, PIPED
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

KINDS = {
    "none": "no release: nothing differs",
    "patch": "a patch release: no outcome changes",
    "minor": "a minor release: no limit differs, and checks, measures or requirements are added, or parameters are set",
    "major": "a major release: outcomes may change",
}
"""Meaning of each kind of release, in a sentence."""
ONLY_THE_FILES = "a patch release: no value differs, the files do"
"""Meaning of "none" for two files that are not the same: a file once released stays as it is."""
STYLES = {"tightened": "yellow", "loosened": "green", "added": "bold", "removed": "bold"}
OUTCOMES = {"pass": "green", "warn": "yellow", "fail": "red", "error": "red"}
FULL = 5
"""Reasons of a kind that are listed; more of them are counted."""


def ruleset_diff_text(
    diff: RulesetDiff, *, width: int = PIPED, colour: bool = False, ascii_only: bool = False
) -> bytes:  # fmt: skip
    """Return the comparison as UTF-8 or ASCII, at most `width` columns wide."""
    from qc.text.page import Page  # slow to import, and needed for text only

    page = Page(min(max(width, LEAST), MOST), colour=colour, ascii_only=ascii_only)
    page.say(f"RULESETS {_name(diff.before)} and {_name(diff.after)}", body="bold")
    _release(page, diff.release, same_file=diff.before.sha256 == diff.after.sha256)
    _chain(page, diff)
    _limits(page, diff.limits)
    _parameters(page, diff.parameters)
    _checks(page, diff)
    _needs(page, diff)
    if diff.compared is not None:
        page.blank()
        _compared(page, diff.compared)
    return page.text.encode("utf-8", "replace")


def _name(ruleset: RulesetName) -> str:
    return f"{ruleset.name}@{ruleset.version}"


def _release(page: Page, release: Release, *, same_file: bool) -> None:
    kind = ONLY_THE_FILES if release.kind == "none" and not same_file else KINDS[release.kind]
    page.say(kind, indent=2, label="  ")
    kinds = [reason for reason in release.reasons if reason.kind == release.kind]
    for reason in kinds[:FULL]:
        page.say(reason.says, label="  - ", indent=4, body="dim")
    if len(kinds) > FULL:
        page.say(f"and {len(kinds) - FULL} more like these", label="  - ", indent=4, body="dim")
    if release.keeps is not None and release.kind != "none":
        words = "which is no more than" if release.keeps else "which is more than"
        promised = "no release" if release.promised == "none" else f"a {release.promised} one"
        style = "" if release.keeps else "red"
        page.say(f"{words} their version numbers promise, {promised}", label="  ", indent=2, body=style)


def _chain(page: Page, diff: RulesetDiff) -> None:
    if diff.before.serves != diff.after.serves:
        page.blank()
        page.say(f"{diff.before.serves}, then {diff.after.serves}", label="SERVES  ", style="bold", indent=2)
    _values(page, "CHAIN", diff.chain)
    _values(page, "RECOMMENDED LEVEL", diff.level)


def _values(page: Page, title: str, differing: Sequence[ChainRow | PolicyRow]) -> None:
    """Write a table of values that differ, with their sources."""
    if not differing:
        return
    page.blank()
    page.say(title, body="bold")
    rows = [
        (f"  {row.key}", f"{row.before.value} ({row.before.source})", f"{row.after.value} ({row.after.source})")
        for row in differing
    ]
    page.table(("  value", "before", "after"), [tuple(shown(cell, 40) for cell in row) for row in rows], left=3)


def _limits(page: Page, limits: Sequence[LimitRow]) -> None:
    if not limits:
        return
    page.blank()
    page.say("LIMITS", body="bold")
    for row in limits:
        _differing(page, row.limit, row)


def _parameters(page: Page, parameters: Sequence[ParameterRow]) -> None:
    if not parameters:
        return
    page.blank()
    page.say("PARAMETERS", body="bold")
    for row in parameters:
        _differing(page, row.parameter, row)


def _differing(page: Page, name: str, row: LimitRow | ParameterRow) -> None:
    """Write a limit or parameter that differs, as each ruleset writes it."""
    word = "has another source" if row.change == "words" else f"is {row.change}"
    page.say(f"{name} {word}", label="  ", indent=4, body=STYLES.get(row.change, ""))
    for label, value in (("    before  ", row.before), ("    after   ", row.after)):
        if value is not None:
            page.say(_written(value), label=label, indent=12, body="dim")


def _written(value: WrittenLimit | WrittenParameter) -> str:
    if isinstance(value, WrittenParameter):
        words = shown(value.value, 100)
    else:
        words = ", ".join(f"{word} {bound}" for word, bound in (("warn", value.warn), ("fail", value.fail)) if bound)
        words += f", {value.sets_level} sets the level" if value.sets_level else ""
    return f"{words}; source {shown(value.source, 100)}; {shown(value.origin, 100)}"


def _checks(page: Page, diff: RulesetDiff) -> None:
    if diff.checks or diff.measures:
        page.blank()
        page.say("CHECKS", body="bold")
    for row in diff.checks:
        words = {"on": "is judged", "off": "is judged no longer", "words": "is off for another reason"}[row.change]
        why = {"on": f"; it was off: {row.reason}", "off": f": {row.reason}", "words": f": {row.reason}"}[row.change]
        page.say(f"{row.check} {words}{why if row.reason else ''}", label="  ", indent=4)
    for measure in diff.measures:
        what = "judges another measurement" if measure.change == "measure" else "has other words"
        page.say(f"{measure.check} {what}", label="  ", indent=4)
        page.say(measure.before, label="    before  ", indent=12, body="dim")
        page.say(measure.after, label="    after   ", indent=12, body="dim")


def _needs(page: Page, diff: RulesetDiff) -> None:
    if not diff.requires:
        return
    page.blank()
    page.say("MUST BE INSTALLED", body="bold")
    for row in diff.requires:
        page.say(f"{row.name} {row.before or 'in no version'}, then {row.after or 'in none'}", label="  ", indent=4)


def _compared(page: Page, compared: Compared) -> None:
    title = shown(compared.title, 100)
    how = "judged by both" if compared.on == "delivery" else f"by the numbers of {shown(compared.file, 60)}"
    page.say(f"ON {title}, {how}", body="bold")
    for failure in compared.plugin_failures:
        page.say(f"plugin {failure.plugin} failed at {failure.stage}: {failure.message}", label="  ", indent=4)
    if compared.verdict_after is not None:
        page.say(f"{compared.verdict_before}, then {compared.verdict_after}", label="  verdict: ", indent=4)
    differ = [row for row in compared.outcomes if row.before != row.after]
    for row in differ:
        where = "the delivery" if row.side is None else f"side {shown(row.side, 20)}"
        before, after = row.before or "not judged", row.after or "not judged"
        style = OUTCOMES.get(row.after or "", "dim")
        page.say(f"{row.check}: {before}, then {after}", label=f"  {where}  ", indent=4, body=style)
    same = len(compared.outcomes) - len(differ)
    page.say(f"{same} outcome{'s' * (same != 1)} {'are' if same != 1 else 'is'} the same", label="  ", body="dim")
    for level in compared.levels:
        if level.before != level.after:
            page.say(
                f"recommended level {_level(level.before)}, then {_level(level.after)}",
                label=f"  side {shown(level.side, 20)}  ", indent=4,
            )  # fmt: skip
    _unanswered(page, compared)


def _level(level: Quantity | None) -> str:
    return "unknown" if level is None else str(level)


def _unanswered(page: Page, compared: Compared) -> None:
    """Write the questions that a report cannot answer, once for all sides that share a reason."""
    if not compared.unsaid:
        return
    page.blank()
    page.say("NOT IN THE REPORT", body="bold")
    counted = Counter((question.what, question.why) for question in compared.unsaid)
    for what, why in counted:
        sides = [
            question.side
            for question in compared.unsaid
            if (question.what, question.why) == (what, why) and question.side is not None
        ]
        where = f" on side {', '.join(sides)}" if sides else ""
        page.say(f"{what}{shown(where, 60)}: {why}", label="  ", indent=4)
