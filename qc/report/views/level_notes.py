"""Sentences about the levels of a side: limits that fail when recommended, warnings that disappear when clean."""

from __future__ import annotations

from qc.judge.findings import MeasuredFinding
from qc.model.report import Report, SideReport
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
