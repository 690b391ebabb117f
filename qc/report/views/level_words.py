"""The level that a side is judged at, in words, and notes on the release level of a disc."""

from __future__ import annotations

from collections.abc import Iterator

from qc.model.report import DiscLevel, Report, SideReport

LEVELS = {
    "release": "the release level of its disc", "recommended": "its recommended level", "clean": "its clean level",
}  # fmt: skip
"""The level named by a value of `--level`, in words."""


def judged_as(report: Report, side: SideReport) -> str:
    """Describe the judged level: "as requested", "the release level", "as recommended", "by --level", or no level."""
    levels = side.levels
    assert levels is not None  # callers ask for measured sides only
    if report.level is not None:
        return f"by --level {report.level}" if report.level in LEVELS else "by --level"
    if levels.basis == "requested" or (levels.basis is None and levels.declared is not None):
        return "as requested"
    if levels.recommended.bound == "<" and levels.judged.value == levels.recommended.value:
        return "the lowest level tried, where the limits that set the level still fail"
    shared = any(side.id in disc.sides and len(disc.sides) > 1 for disc in report.discs)
    return "the release level" if levels.basis == "release" and shared else "as recommended"


def option_words(report: Report) -> str:
    """Write that `--level` set the level of every side; empty where it did not."""
    if report.level is None:
        return ""
    level = LEVELS.get(report.level, report.level)
    return f"every side is judged at {level}, by --level, whatever the delivery requests"


def sides_of(disc: DiscLevel) -> list[str]:
    """Return the ids of all sides of a disc, sorted."""
    return sorted((*disc.sides, *disc.requested, *disc.not_measured, *disc.no_level))


def disc_notes(report: Report, disc: DiscLevel) -> Iterator[str]:
    """Yield notes on the sides of a disc that do not count for its release level, or count without being judged."""
    for side in disc.requested if report.level is None else ():
        yield f"{side} keeps its requested level"
    for side in disc.not_measured:
        yield f"{side} could not be measured and is left out"
    for side in disc.no_level:
        yield f"{side} fits at no level and is left out"
    for side in disc.not_judged:
        yield f"{side} was measured only for this level and is not judged here"
