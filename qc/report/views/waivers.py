"""Waivers in words: who answers for which findings and until when, which waivers have expired, which cover nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from qc.judge.findings import MeasuredFinding, is_of_all_the_side, whole
from qc.model.quantity import clock
from qc.model.report import CheckResult, Report, WaiverFacts
from qc.report.views.findings import place
from qc.text.numbers import listed
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

FEW = 3
"""Findings of one waiver that the usual report tells by themselves."""
LABEL = 8
LONGEST = 300
"""Characters of a reason, or of who gives it."""
STYLES = {
    "used": ("WAIVED", "cyan"),
    "not_counted": ("IGNORED", "bold yellow"),
    "expired": ("EXPIRED", "bold yellow"),
    "unused": ("UNUSED", "yellow"),
}


def tally(report: Report) -> str:
    """Count what is waived and by whose waivers, and those that have expired or cover nothing; empty without any."""
    count = sum(result.findings_waived for result in report.results)
    expired = [one for one in report.waivers if one.state == "expired"]
    unused = [one for one in report.waivers if one.state == "unused"]
    others = sum(one.state == "not_counted" for one in report.waivers)
    parts = [f"{count} finding{'s' * (count != 1)} waived{_by_whom(report)}"] if count else []
    parts += [f"{others} waiver{'s' * (others != 1)} of the delivery not counted"] if others else []
    parts += [f"{len(expired)} waiver{'s' * (len(expired) != 1)} expired"] if expired else []
    parts += [f"{len(unused)} waiver{'s cover' if len(unused) != 1 else ' covers'} nothing"] if unused else []
    return ", ".join(parts)


def scope(one: WaiverFacts) -> str:
    """Say where a waiver holds: "A, tracks 1 and 2, from 1:02.000 to 1:04.000"."""
    parts = [shown(one.side or "every side", 20)]
    if one.tracks:
        parts.append(f"track{'s' * (len(one.tracks) > 1)} {listed(map(str, one.tracks))}")
    times = [f"from {clock(one.from_s)}"] if one.from_s is not None else []
    times += [f"to {clock(one.to_s)}"] if one.to_s is not None else []
    return ", ".join([*parts, " ".join(times)] if times else parts)


def given(one: WaiverFacts) -> str:
    """Say where a waiver is written, and whether the delivery's sender gave it: "delivery.yaml:31 of the delivery"."""
    words = {"delivery": " of the delivery", "file": " by --waivers"}
    return shown(one.key, 120) + words.get(one.given_in or "", "")


def _by_whom(report: Report) -> str:
    """Say whether the waivers in use are the delivery's own; empty where an old report does not tell."""
    there = {one.given_in for one in report.waivers if one.state == "used"}
    words = {"delivery": "by the delivery itself", "file": "by --waivers"}
    said = [words[kind] for kind in words if kind in there]
    return f" {' and '.join(said)}" if said else ""


def answer(one: WaiverFacts) -> str:
    """Say who answers, until when, and why."""
    until = f"until {one.expires}" if one.expires else "without an end"
    return f"{_line(one.owner)} {until}: {_line(one.reason)}"


def answer_and_place(one: WaiverFacts) -> str:
    """Say who answers, until when, why, and where that is written."""
    return f"{answer(one)} ({given(one)})"


def covered(report: Report, waiver: WaiverFacts) -> list[MeasuredFinding]:
    """Give the findings that a waiver answers for, the gravest first."""
    return [one for one in whole(report) if one.finding.waived_by == waiver.key]


def words(report: Report, waiver: WaiverFacts, most: int | None = None) -> Iterator[str]:
    """Say of a waiver in use what it covers, one finding each, the gravest first."""
    found = covered(report, waiver)
    for one in found[:most]:
        yield f"{place(one)}: {one.over or one.finding.message}"
    if rest := max(waiver.findings, len(found)) - len(found[:most]):
        yield f"and {rest} more" if found else f"{rest} that another waiver covers too"


def fault(report: Report, waiver: WaiverFacts) -> str:
    """Say what is wrong with a waiver that is not in use."""
    if waiver.state == "expired":
        what = f"expired after {waiver.expires}"
        if not waiver.findings:
            return f"{what}, and nothing stands for that; take it out"
        return f"{what}, so {waiver.findings} finding{'s stand' if waiver.findings > 1 else ' stands'}"
    if waiver.state == "not_counted":
        remain = f"{waiver.findings} finding{'s remain' if waiver.findings != 1 else ' remains'}"
        return f"not counted, for it came with the delivery and only waivers of --waivers count; {remain}"
    results = [one for one in report.results if one.check == waiver.check and waiver.side in {None, one.side}]
    return f"covers nothing{_why_nothing(results, waiver)}"


def _why_nothing(results: Sequence[CheckResult], waiver: WaiverFacts) -> str:
    if not results:
        return ", for no check of that name is judged here"
    if all(one.outcome in {"not_measured", "not_applicable", "error"} for one in results):
        return ", for the check judged nothing here"
    found = [finding for one in results for finding in one.findings]
    narrow = waiver.tracks or waiver.from_s is not None or waiver.to_s is not None
    if narrow and any(is_of_all_the_side(finding) for finding in found):
        return ": this is one number of all the side; waive it without tracks and times, if at all"
    reach = next((finding.stretch for finding in found if finding.stretch is not None), None)
    if reach is not None:
        ends = f"from {clock(reach.start_s)} to {clock(reach.end_s)}"
        return f": no finding lies wholly inside it; the most serious one reaches {ends}"
    return "; take it out"


def told(page: Page, report: Report, *, verbose: bool) -> None:
    """Write each waiver: those in use with what they cover, then those that have expired or cover nothing."""
    if report.waivers:
        page.blank()
    for waiver in _in_order(report):
        word, style = STYLES[waiver.state]
        page.say(
            f"{waiver.check} {page.clean('·')} {scope(waiver)} ({given(waiver)})", label=word.ljust(LABEL),
            style=style, body="bold",
        )  # fmt: skip
        if waiver.state == "used":
            page.say(answer(waiver), label=" " * LABEL)
            for line in words(report, waiver, None if verbose else FEW):
                page.say(line, label=" " * LABEL, indent=LABEL + 2)
        else:
            why = f"{_line(waiver.owner)}: {_line(waiver.reason)}"
            page.say(f"{fault(report, waiver)} ({why})", label=" " * LABEL)


def briefly(page: Page, report: Report) -> None:
    """Write a line for each waiver in use, and for each that is not."""
    if said := tally(report):
        page.say(said, indent=2, body="yellow")
    for waiver in _in_order(report):
        about = f"{waiver.check} on {scope(waiver)}"
        if waiver.state == "used":
            page.say(f"{waiver.findings} of {about}, by {answer_and_place(waiver)}", label="  waived: ", indent=4)
        else:
            said = f"{about} ({given(waiver)}): {fault(report, waiver)}"
            page.say(said, label=f"  {waiver.state.replace('_', ' ')}: ", indent=4)


def _in_order(report: Report) -> list[WaiverFacts]:
    return sorted(report.waivers, key=lambda one: list(STYLES).index(one.state))


def _line(text: str) -> str:
    return shown(" ".join(text.split()), LONGEST)
