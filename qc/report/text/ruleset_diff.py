"""The comparison of two rulesets for a person at a terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.model.quantity import Quantity
from qc.model.ruleset_diff import (
    ChainRow,
    Compared,
    LimitRow,
    PolicyRow,
    Release,
    RulesetDiff,
    RulesetName,
    WrittenLimit,
)
from qc.report.text.plan import LEAST, MOST, PIPED
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

KINDS = {
    "none": "no release: nothing differs",
    "patch": "a patch release: nothing that was judged comes out otherwise",
    "minor": "a minor release: what was judged comes out the same, and there is more",
    "major": "a major release: what was judged may come out otherwise",
}
"""What a kind of release means, in a sentence."""
STYLES = {"tightened": "yellow", "loosened": "green", "added": "bold", "removed": "bold"}
OUTCOMES = {"pass": "green", "warn": "yellow", "fail": "red", "error": "red"}
FULL = 5
"""Reasons of a kind that are told one by one; more of them are counted."""


def ruleset_diff_text(
    found: RulesetDiff, *, width: int = PIPED, colour: bool = False, ascii_only: bool = False
) -> bytes:  # fmt: skip
    """Write the comparison, UTF-8 or ASCII, no wider than asked for."""
    from qc.text.page import Page  # not before somebody wants to read

    page = Page(min(max(width, LEAST), MOST), colour=colour, ascii_only=ascii_only)
    page.say(f"RULESETS {_name(found.before)} and {_name(found.after)}", body="bold")
    _release(page, found.release)
    _chain(page, found)
    _limits(page, found.limits)
    _checks(page, found)
    _needs(page, found)
    if found.compared is not None:
        page.blank()
        _compared(page, found.compared)
    return page.text.encode("utf-8", "replace")


def _name(ruleset: RulesetName) -> str:
    return f"{ruleset.name}@{ruleset.version}"


def _release(page: Page, release: Release) -> None:
    page.say(KINDS[release.kind], indent=2, label="  ")
    kinds = [one for one in release.reasons if one.kind == release.kind]
    for one in kinds[:FULL]:
        page.say(one.says, label="  - ", indent=4, body="dim")
    if len(kinds) > FULL:
        page.say(f"and {len(kinds) - FULL} more like these", label="  - ", indent=4, body="dim")
    if release.keeps is not None and release.kind != "none":
        words = "which is no more than" if release.keeps else "which is more than"
        promised = "no release" if release.promised == "none" else f"a {release.promised} one"
        style = "" if release.keeps else "red"
        page.say(f"{words} their version numbers promise, {promised}", label="  ", indent=2, body=style)


def _chain(page: Page, found: RulesetDiff) -> None:
    if found.before.serves != found.after.serves:
        page.blank()
        page.say(f"{found.before.serves}, then {found.after.serves}", label="SERVES  ", style="bold", indent=2)
    _values(page, "CHAIN", found.chain)
    _values(page, "RECOMMENDED LEVEL", found.level)


def _values(page: Page, title: str, differing: Sequence[ChainRow | PolicyRow]) -> None:
    """Write a table of values that differ, with their sources."""
    if not differing:
        return
    page.blank()
    page.say(title, body="bold")
    rows = [
        (f"  {one.key}", f"{one.before.value} ({one.before.source})", f"{one.after.value} ({one.after.source})")
        for one in differing
    ]
    page.table(("  value", "before", "after"), [tuple(shown(cell, 40) for cell in row) for row in rows], left=3)


def _limits(page: Page, limits: Sequence[LimitRow]) -> None:
    if not limits:
        return
    page.blank()
    page.say("LIMITS", body="bold")
    for one in limits:
        word = "has another source" if one.change == "words" else f"is {one.change}"
        page.say(f"{one.limit} {word}", label="  ", indent=4, body=STYLES.get(one.change, ""))
        for label, limit in (("    before  ", one.before), ("    after   ", one.after)):
            if limit is not None:
                page.say(_limit(limit), label=label, indent=12, body="dim")


def _limit(limit: WrittenLimit) -> str:
    values = ", ".join(f"{word} {value}" for word, value in (("warn", limit.warn), ("fail", limit.fail)) if value)
    level = f", {limit.sets_level} sets the level" if limit.sets_level else ""
    return f"{values}{level}; source {shown(limit.source, 100)}; {shown(limit.origin, 100)}"


def _checks(page: Page, found: RulesetDiff) -> None:
    if found.checks or found.measures:
        page.blank()
        page.say("CHECKS", body="bold")
    for one in found.checks:
        words = {"on": "is judged", "off": "is judged no longer", "words": "is off for another reason"}[one.change]
        why = {"on": f"; it was off: {one.reason}", "off": f": {one.reason}", "words": f": {one.reason}"}[one.change]
        page.say(f"{one.check} {words}{why if one.reason else ''}", label="  ", indent=4)
    for measure in found.measures:
        what = "is held against another measurement" if measure.change == "measure" else "has other words"
        page.say(f"{measure.check} {what}", label="  ", indent=4)
        page.say(measure.before, label="    before  ", indent=12, body="dim")
        page.say(measure.after, label="    after   ", indent=12, body="dim")


def _needs(page: Page, found: RulesetDiff) -> None:
    if not found.requires:
        return
    page.blank()
    page.say("MUST BE INSTALLED", body="bold")
    for one in found.requires:
        page.say(f"{one.name} {one.before or 'in no version'}, then {one.after or 'in none'}", label="  ", indent=4)


def _compared(page: Page, found: Compared) -> None:
    title = shown(found.title, 100)
    how = "judged by both" if found.on == "delivery" else f"by the numbers of {shown(found.file, 60)}"
    page.say(f"ON {title}, {how}", body="bold")
    for failure in found.plugin_failures:
        page.say(f"plugin {failure.plugin} failed at {failure.stage}: {failure.message}", label="  ", indent=4)
    if found.verdict_after is not None:
        page.say(f"{found.verdict_before}, then {found.verdict_after}", label="  verdict: ", indent=4)
    differ = [one for one in found.outcomes if one.before != one.after]
    for one in differ:
        where = "the delivery" if one.side is None else f"side {shown(one.side, 20)}"
        before, after = one.before or "not judged", one.after or "not judged"
        style = OUTCOMES.get(one.after or "", "dim")
        page.say(f"{one.check}: {before}, then {after}", label=f"  {where}  ", indent=4, body=style)
    same = len(found.outcomes) - len(differ)
    page.say(f"{same} outcome{'s' * (same != 1)} {'are' if same != 1 else 'is'} the same", label="  ", body="dim")
    for level in found.levels:
        if level.before != level.after:
            page.say(
                f"recommended level {_level(level.before)}, then {_level(level.after)}",
                label=f"  side {shown(level.side, 20)}  ", indent=4,
            )  # fmt: skip
    _unsaid(page, found)


def _level(level: Quantity | None) -> str:
    return "unknown" if level is None else str(level)


def _unsaid(page: Page, found: Compared) -> None:
    """Tell what could not be said, once for all sides that share a reason."""
    if not found.unsaid:
        return
    page.blank()
    page.say("NOT TO BE SAID BY A REPORT", body="bold")
    counted = Counter((one.what, one.why) for one in found.unsaid)
    for what, why in counted:
        sides = [one.side for one in found.unsaid if (one.what, one.why) == (what, why) and one.side is not None]
        where = f" on side {', '.join(sides)}" if sides else ""
        page.say(f"{what}{shown(where, 60)}: {why}", label="  ", indent=4)
