"""A place on a side as plain text: its positions in a table, the groove there, and how exact they are."""

from __future__ import annotations

from qc.model.quantity import clock, show
from qc.model.where import GrooveThere, SidePosition, WhereFound, WhereReport
from qc.text.sanitize import shown

LEAST, PIPED, MOST = 60, 96, 120
"""Columns: the narrowest page, the page without a terminal, the widest page."""
HEAD = ("", "time", "radius", "turn", "angle", "track")
TRUST = (
    """Radius: that of the middle of the groove; its edges lie half the top width to either side. Turns are counted
    from 1. Angle 0 is where the programme begins, which a disc does not show; angles grow the way the stylus runs. The
    groove is the worst of the 1/75 s there.""",
    """The place is that of the spiral as this tool computes it. A lathe controls its pitch in its own way: one that
    lays the turns closer has the place between here and that of the least possible travel, a coarser one further in.
    A turn that was counted from the first is at its second on every lathe.""",
)
"""Notes below the numbers: how each is counted, and how exact a position is."""


def where_text(
    found: WhereFound, *, width: int = PIPED, colour: bool = False, ascii_only: bool = False
) -> bytes:  # fmt: skip
    """Return the place as UTF-8 or ASCII, at most `width` columns wide."""
    from qc.text.page import Page  # slow to import, and needed for text only

    report = found.report
    page = Page(min(max(width, LEAST), MOST), colour=colour, ascii_only=ascii_only)
    page.say(f"SIDE {shown(report.side)} at {_asked(report)}: {shown(report.title, 300)}", body="bold")
    page.say(f"cut at {show(report.level_db, 'dB')}, by {report.ruleset}", indent=2, label="  ")
    page.blank()
    page.table(HEAD, _positions(report), left=1)
    page.blank()
    for label, number in _groove(report.groove):
        page.raw(f"  {label:<34}{number}")
    page.blank()
    if report.no_view:
        page.say(f"the groove there cannot be drawn: {report.no_view}", body="yellow")
    for paragraph in TRUST:
        page.say(" ".join(paragraph.split()), body="dim")
    return page.text.encode("utf-8", "replace")


def _asked(report: WhereReport) -> str:
    asked = report.asked
    if asked.radius_mm is not None:
        return f"radius {show(asked.radius_mm, 'mm')}"
    if asked.time_s is not None:
        return clock(asked.time_s)
    return f"turn {asked.turn}, {asked.angle_deg:g} deg"


def _positions(report: WhereReport) -> list[tuple[str, ...]]:
    there = {row.away: row.position for row in report.neighbours}
    rows = [
        ("the turn before", there.get(-1)),
        ("here", report.place),
        ("the turn after", there.get(1)),
        ("here, with the least possible travel", report.least_travel),
    ]
    return [(name, *(_cells(position) if position else ("-",) * 5)) for name, position in rows]


def _cells(position: SidePosition) -> tuple[str, ...]:
    into = "" if position.track_time_s is None else f" at {clock(position.track_time_s)}"
    return (
        clock(position.time_s),
        show(position.radius_mm, "mm"),
        str(position.turn),
        f"{position.angle_deg:.1f} deg",
        "-" if position.track is None else f"{position.track}{into}",
    )


def _groove(there: GrooveThere) -> list[tuple[str, str]]:
    def land(value: float | None) -> str:
        return "no turn there" if value is None else show(value, "um")

    return [
        ("least top width", show(there.top_width_um, "um")),
        ("greatest depth", show(there.depth_um, "um")),
        ("land to the turn before", land(there.land_before_um)),
        ("land to the turn after", land(there.land_after_um)),
        ("lateral slope", f"{there.lateral_slope:.3f}  (1: the cutter's back edges touch)"),
        ("vertical slope", f"{there.vertical_slope:.3f}"),
        ("tracing ratio", f"{there.tracing_ratio:.3f}  (1: the tip bridges the trough)"),
        ("peak velocity of a wall", show(there.wall_velocity_cm_s, "cm/s")),
        ("the same over the alignment tone", "nothing moves" if there.level_db is None else show(there.level_db, "dB")),
    ]
