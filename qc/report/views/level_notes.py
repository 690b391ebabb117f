"""Sentences about the levels of a side: limits that fail when recommended, warnings that disappear when clean."""

from __future__ import annotations

from qc.judge.findings import MeasuredFinding
from qc.model.report import Report, SideReport
from qc.report.views import worth
from qc.text.numbers import listed
from qc.text.sanitize import shown


def unset(report: Report, side: SideReport) -> str:
    """Name the limits that fail at the recommended level because they do not set it; empty where there are none."""
    levels = side.levels
    if levels is None or not levels.fails_at_recommended:
        return ""
    names, judge = levels.fails_at_recommended, f"{report.ruleset.name}@{report.ruleset.version}"
    which = "this limit" if len(names) == 1 else "these limits"
    return (
        f"at {levels.recommended}, its recommended level, it fails {listed(names)}, because {judge} does not let "
        f"{which} set the level"
    )


def margin(side: SideReport) -> str:
    """Write the distance of the recommended level below the edge, in dB; empty where it lies on the edge."""
    levels = side.levels
    if levels is None or levels.edge is None or levels.policy == "edge":
        return ""
    return f"{levels.edge.value - levels.recommended.value:.1f} dB below the edge at {levels.edge}"


def by_tip(side: SideReport) -> str:
    """Write the recommended level under each other tip; empty where all come to the same tenth of a dB."""
    levels = side.levels
    if levels is None:
        return ""
    tips = [tip for tip in levels.by_tip if tip.recommended is not None and not tip.own]
    if all(str(tip.recommended) == str(levels.recommended) for tip in tips):
        return ""
    first, *others = tips
    article = "an" if first.tip[0] in "aeiou" else "a"
    words = [f"with {article} {first.tip} {first.size} tip {first.recommended}"]
    return ", ".join(words + [f"{tip.tip} {tip.size} {tip.recommended}" for tip in others])


def tip_lines(report: Report, side: SideReport) -> list[str]:
    """Return a line for each tip that the ruleset names: its level, where the side would end, the limit that rules."""
    lines = []
    for tip in () if side.levels is None else side.levels.by_tip:
        name = f"{tip.tip} {tip.size}{' (as judged)' if tip.own else ''}"
        if tip.recommended is None or tip.last_diameter is None:
            lines.append(f"{name}: {tip.reason}")
            continue
        ruled = f", limited by the {worth.limit_words(report, tip.ruling)}" if tip.ruling else ""
        lines.append(f"{name}: {tip.recommended}, ends at {tip.last_diameter.value:.1f} mm{ruled}")
    return lines


def goes_when_clean(report: Report, measured: MeasuredFinding) -> bool:
    """Whether a finding is a warning of a limit that sets the level and warns nowhere at the side's clean level."""
    finding = measured.finding
    if finding.severity != "warn" or finding.waived_by is not None or finding.limit is None:
        return False
    levels = next((side.levels for side in report.sides if side.id == finding.location.side), None)
    if levels is None or not levels.clean_of or levels.judged.value <= levels.clean.value:
        return False
    check, _, key = measured.limit_name(report).partition("/")
    return f"{check}/{key.partition('.')[0]}" in levels.clean_of


def gone_count(report: Report, side: SideReport) -> int:
    """Count the warnings of a side that disappear at its clean level, with those that the report left out."""
    return sum(result.warnings_gone_at_clean for result in report.results if result.side == side.id)


def gone(report: Report, side: SideReport) -> str:
    """Count in a line the warnings of a side that disappear at its clean level; empty where there are none."""
    count = gone_count(report, side)
    if side.levels is None or not count:
        return ""
    lie = "place lies" if count == 1 else "places lie"
    levels = side.levels
    return f"{count} {lie} between warn and fail at {levels.judged}; at {levels.clean} none"


def gone_lines(report: Report) -> list[str]:
    """Return that line for each side that has such warnings."""
    words_by_side = ((side.id, gone(report, side)) for side in report.sides)
    return [f"Side {shown(side, 20)}: {words}" for side, words in words_by_side if words]


def gone_for_client(report: Report) -> list[str]:
    """Return a sentence to the client for each side that has such warnings."""
    lines = []
    for side in report.sides:
        count, levels = gone_count(report, side), side.levels
        if count and levels is not None:
            places = "1 place comes" if count == 1 else f"{count} places come"
            lines.append(
                f"Side {shown(side.id, 20)}: {places} near what a record can hold at {levels.judged}, the level of "
                f"this report; cut at {levels.clean}, none would. You need not change anything for that."
            )
    return lines
