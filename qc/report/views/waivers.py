"""Waivers in words: owner, scope and expiry, the findings they cover, and those that are expired or unused."""

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
"""Findings of a waiver that the usual report lists."""
LABEL = 8
LONGEST = 300
"""Characters of a reason or an owner."""
STYLES = {
    "used": ("WAIVED", "cyan"),
    "not_counted": ("IGNORED", "bold yellow"),
    "expired": ("EXPIRED", "bold yellow"),
    "unused": ("UNUSED", "yellow"),
}


def tally(report: Report) -> str:
    """Count waived findings, and waivers that are not counted, expired or unused, in a line; empty without any."""
    count = sum(result.findings_waived for result in report.results)
    expired = [waiver for waiver in report.waivers if waiver.state == "expired"]
    unused = [waiver for waiver in report.waivers if waiver.state == "unused"]
    others = sum(waiver.state == "not_counted" for waiver in report.waivers)
    parts = [f"{count} finding{'s' * (count != 1)} waived{_by_whom(report)}"] if count else []
    parts += [f"{others} waiver{'s' * (others != 1)} of the delivery not counted"] if others else []
    parts += [f"{len(expired)} waiver{'s' * (len(expired) != 1)} expired"] if expired else []
    parts += [f"{len(unused)} waiver{'s cover' if len(unused) != 1 else ' covers'} nothing"] if unused else []
    return ", ".join(parts)


def scope(waiver: WaiverFacts) -> str:
    """Write the scope of a waiver: "A, tracks 1 and 2, from 1:02.000 to 1:04.000"."""
    parts = [shown(waiver.side or "every side", 20)]
    if waiver.tracks:
        parts.append(f"track{'s' * (len(waiver.tracks) > 1)} {listed(map(str, waiver.tracks))}")
    times = [f"from {clock(waiver.from_s)}"] if waiver.from_s is not None else []
    times += [f"to {clock(waiver.to_s)}"] if waiver.to_s is not None else []
    return ", ".join([*parts, " ".join(times)] if times else parts)


def given(waiver: WaiverFacts) -> str:
    """Write the origin of a waiver, its file and line: "delivery.yaml:31 of the delivery"."""
    words = {"delivery": " of the delivery", "file": " by --waivers"}
    return shown(waiver.key, 120) + words.get(waiver.given_in or "", "")


def _by_whom(report: Report) -> str:
    """Write whether the waivers in use came with the delivery; empty for an old report without that field."""
    origins = {waiver.given_in for waiver in report.waivers if waiver.state == "used"}
    words = {"delivery": "by the delivery itself", "file": "by --waivers"}
    parts = [words[kind] for kind in words if kind in origins]
    return f" {' and '.join(parts)}" if parts else ""


def answer(waiver: WaiverFacts) -> str:
    """Write the owner, expiry and reason of a waiver."""
    until = f"until {waiver.expires}" if waiver.expires else "without an end"
    return f"{_line(waiver.owner)} {until}: {_line(waiver.reason)}"


def answer_and_place(waiver: WaiverFacts) -> str:
    """Write the owner, expiry, reason and origin of a waiver."""
    return f"{answer(waiver)} ({given(waiver)})"


def covered(report: Report, waiver: WaiverFacts) -> list[MeasuredFinding]:
    """Return the findings that a waiver covers, the most serious first."""
    return [measured for measured in whole(report) if measured.finding.waived_by == waiver.key]


def words(report: Report, waiver: WaiverFacts, most: int | None = None) -> Iterator[str]:
    """Yield a line for each finding that a waiver covers, the most serious first, `most` at most."""
    findings = covered(report, waiver)
    for measured in findings[:most]:
        yield f"{place(measured)}: {measured.over or measured.finding.message}"
    if rest := max(waiver.findings, len(findings)) - len(findings[:most]):
        yield f"and {rest} more" if findings else f"{rest} that another waiver covers too"


def fault(report: Report, waiver: WaiverFacts) -> str:
    """Describe the fault of a waiver that is not in use."""
    if waiver.state == "expired":
        what = f"expired after {waiver.expires}"
        if not waiver.findings:
            return f"{what}, and no finding remains for it; remove it"
        return f"{what}, so {waiver.findings} finding{'s remain' if waiver.findings > 1 else ' remains'}"
    if waiver.state == "not_counted":
        remain = f"{waiver.findings} finding{'s remain' if waiver.findings != 1 else ' remains'}"
        return f"not counted, because it came with the delivery and only waivers of --waivers count; {remain}"
    results = [
        result for result in report.results if result.check == waiver.check and waiver.side in {None, result.side}
    ]
    return f"covers nothing{_why_nothing(results, waiver)}"


def _why_nothing(results: Sequence[CheckResult], waiver: WaiverFacts) -> str:
    if not results:
        return ", because no check of that name is judged here"
    if all(result.outcome in {"not_measured", "not_applicable", "error"} for result in results):
        return ", because the check judged nothing here"
    findings = [finding for result in results for finding in result.findings]
    narrow = waiver.tracks or waiver.from_s is not None or waiver.to_s is not None
    if narrow and any(is_of_all_the_side(finding) for finding in findings):
        return ": this is one number of the whole side; waive it without tracks and times, if at all"
    reach = next((finding.stretch for finding in findings if finding.stretch is not None), None)
    if reach is not None:
        ends = f"from {clock(reach.start_s)} to {clock(reach.end_s)}"
        return f": no finding lies wholly inside it; the most serious one reaches {ends}"
    return "; remove it"


def write_waivers(page: Page, report: Report, *, verbose: bool) -> None:
    """Write each waiver: those in use with their findings, then those that are not counted, expired or unused."""
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


def write_waivers_briefly(page: Page, report: Report) -> None:
    """Write the tally, and a line for each waiver."""
    if words := tally(report):
        page.say(words, indent=2, body="yellow")
    for waiver in _in_order(report):
        about = f"{waiver.check} on {scope(waiver)}"
        if waiver.state == "used":
            page.say(f"{waiver.findings} of {about}, by {answer_and_place(waiver)}", label="  waived: ", indent=4)
        else:
            words = f"{about} ({given(waiver)}): {fault(report, waiver)}"
            page.say(words, label=f"  {waiver.state.replace('_', ' ')}: ", indent=4)


def _in_order(report: Report) -> list[WaiverFacts]:
    return sorted(report.waivers, key=lambda waiver: list(STYLES).index(waiver.state))


def _line(text: str) -> str:
    return shown(" ".join(text.split()), LONGEST)
