"""Which level a side is judged at, and why, in words; what the release level of a disc means for each of its sides."""

from __future__ import annotations

from collections.abc import Iterator

from qc.model.report import DiscLevel, Report, SideReport

LEVELS = {
    "release": "the release level of its disc", "recommended": "its recommended level", "clean": "its clean level",
}  # fmt: skip
"""What a `--level` by name stands for."""


def judged_as(report: Report, side: SideReport) -> str:
    """Say which level a side is judged at: "as requested", "the release level", "as recommended", "by --level"."""
    levels = side.levels
    assert levels is not None  # who asks has measured it
    if report.level is not None:
        return f"by --level {report.level}" if report.level in LEVELS else "by --level"
    if levels.basis == "requested" or (levels.basis is None and levels.declared is not None):
        return "as requested"
    shared = any(side.id in disc.sides and len(disc.sides) > 1 for disc in report.discs)
    return "the release level" if levels.basis == "release" and shared else "as recommended"


def option_words(report: Report) -> str:
    """Say that `--level` decided the level of every side; empty where it did not."""
    if report.level is None:
        return ""
    level = LEVELS.get(report.level, report.level)
    return f"every side is judged at {level}, by --level, whatever the delivery requests"


def sides_of(disc: DiscLevel) -> list[str]:
    """Name every side of a disc."""
    return sorted((*disc.sides, *disc.requested, *disc.not_measured, *disc.no_level))


def disc_notes(report: Report, disc: DiscLevel) -> Iterator[str]:
    """Say which sides of a disc do not count for its release level, and which counts without being judged."""
    for side in disc.requested if report.level is None else ():
        yield f"{side} keeps its requested level"
    for side in disc.not_measured:
        yield f"{side} could not be measured and is left out"
    for side in disc.no_level:
        yield f"{side} fits at no level and is left out"
    for side in disc.not_judged:
        yield f"{side} was measured for this level alone and is not judged here"
