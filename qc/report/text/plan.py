"""The plan as plain text: discs compared, assumptions varied, breaks and running orders suggested."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.model.plan import Breaks, FormatRow, PlannedLevel, PlannedSide, PlannedTrack, PlanReport, Reordering, SplitRow
from qc.model.quantity import Quantity, minutes
from qc.report.views.changed import change_lines
from qc.report.views.plugins import write_plugins
from qc.report.views.stored_sides import measured_earlier_lines
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

LEAST, PIPED, MOST = 60, 96, 120
"""Columns: the narrowest page, the page without a terminal, the widest page."""
LONGEST = 300
WORDS = {"fits": "yes", "quiet": "quiet", "too_quiet": "no", "too_long": "no", "not_compared": "-"}
"""Whether a side fits a disc, in a word."""
STYLES = {"fits": "green", "quiet": "yellow", "too_quiet": "red", "too_long": "red", "not_compared": "dim"}
NAMES = {
    "playback.tip_radius": "tip radius", "cut.land": "land", "cut.top_width": "groove width", "cut.depth": "depth",
}  # fmt: skip
"""Labels of the assumptions."""


def plan_text(
    report: PlanReport, *, width: int = PIPED, colour: bool = False, ascii_only: bool = False
) -> bytes:  # fmt: skip
    """Return the plan as UTF-8 or ASCII, at most `width` columns wide."""
    from qc.text.page import Page  # slow to import, and needed for text only

    page = Page(min(max(width, LEAST), MOST), colour=colour, ascii_only=ascii_only)
    name = " ".join(part for part in (report.delivery.catalogue, report.delivery.title) if part)
    page.say(f"PLAN for {report.disc}: {shown(name, LONGEST)}", body="bold")
    page.say(
        f"by {report.ruleset.name}@{report.ruleset.version}; the level each side can take, whatever was requested",
        indent=2,
    )
    for line in change_lines(report.ruleset):
        page.say(line, body="yellow", indent=2)
    for line in measured_earlier_lines(report.run):
        page.say(line, body="dim", indent=2)
    write_plugins(page, report.plugin_failures, report.plugin_warnings)
    for side in report.sides:
        page.blank()
        _side(page, side)
    if report.breaks is not None:
        page.blank()
        _breaks(page, report.breaks)
    elif report.no_breaks:
        page.say(f"breaks were not searched: {report.no_breaks}", label="BREAKS  ", style="bold", indent=2)
    return page.text.encode("utf-8", "replace")


def _side(page: Page, side: PlannedSide) -> None:
    label = f"Side {shown(side.id, 20)}  "
    if side.fault:
        page.say(f"not planned: {side.fault}", label=label, style="bold red")
        return
    facts = [_minutes(side.duration_s or 0.0)]
    facts += [str(side.loudness)] if side.loudness else []
    facts += [f"requested level {side.declared}"] if side.declared else []
    page.say(", ".join(facts), label=label, style="bold")
    if side.at_level is not None:
        page.say(_at_level(side.at_level), indent=2, label="  ")
    rows = [_format(row) for row in side.formats]
    head = ("DISC", "fits", "level dB", "ends mm", "disc LU", "  limited by")
    styles = ["bold" if row.planned else STYLES[row.fit] if row.fit != "fits" else "" for row in side.formats]
    _table(page, head, rows, styles)
    if any(row.fit == "too_long" for row in side.formats):
        page.say("Where no level fits, level and end are those of the lowest one.", indent=2, body="dim")
    assumed = [
        (
            f"{f'tip {row.name} {row.size}' if row.name else f'{NAMES[row.key]} {row.value}'}{' *' if row.own else ''}",
            _number(row.recommended),
            "" if row.own else _number(row.change),
            _number(row.last_diameter),
            f"  {_check(row.ruling) or row.reason}",
        )
        for row in side.sensitivity
    ]
    page.blank()
    styles = ["bold" if row.own else "" for row in side.sensitivity]
    _table(page, ("ASSUMED", "level dB", "change", "ends mm", "  limited by"), assumed, styles)
    page.say("* as planned above; one value changed at a time", indent=2, body="dim")
    if side.reordered is not None:
        _reordering(page, side.reordered, label="ORDER  ")


def _at_level(level: PlannedLevel) -> str:
    """Write the end, the level on the disc and the fit of a side at the requested level."""
    on_disc = f", {level.level_on_disc} on the disc" if level.level_on_disc else ""
    fits = "fits" if level.fits else f"does not fit: {', '.join(dict.fromkeys(map(_check, level.broken)))}"
    return f"at {level.level} (--level) it ends at {level.last_diameter}{on_disc}; {fits}"


def _format(row: FormatRow) -> tuple[str, ...]:
    name = f"{row.disc}{' *' if row.planned else ''}"
    return (
        name, WORDS[row.fit], _number(row.recommended), _number(row.last_diameter), _number(row.level_on_disc),
        f"  {_check(row.ruling) or row.reason}",
    )  # fmt: skip


def _table(page: Page, head: Sequence[str], rows: Sequence[Sequence[str]], styles: Sequence[str]) -> None:
    """Write columns; the last one holds words, is set flush left and cut where there is no room for it."""
    widest = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head) - 1)]
    room = page.width - sum(widest) - 2 * len(widest)
    fitted = [(*row[:-1], row[-1][: max(room, 0)].ljust(min(room, _longest(head, rows)))) for row in (head, *rows)]
    page.table(fitted[0], fitted[1:], left=1, styles=styles)


def _longest(head: Sequence[str], rows: Sequence[Sequence[str]]) -> int:
    return max(len(row[-1]) for row in (head, *rows))


def _breaks(page: Page, breaks: Breaks) -> None:
    page.say(f"BREAKS of {breaks.tracks} tracks in their order", body="bold")
    for before, row in zip((None, *breaks.splits), breaks.splits, strict=False):
        _split(page, row, before)
    orders = [side.reordered for row in breaks.splits for side in row.sides if side.reordered is not None]
    if orders and not any(order.wins.value > 0.0 for order in orders):
        page.say("no other order inside a side gains anything", indent=2, label="  ")
    page.say(breaks.how, indent=2, label="  ", body="dim")


def _split(page: Page, row: SplitRow, before: SplitRow | None) -> None:
    count = len(row.sides)
    wins = ""
    if before is not None and before.worst.bound is None and row.worst.bound is None:
        wins = f", {row.worst.value - before.worst.value:.1f} dB more than over {count - 1}"
    level = "does not fit at any level" if row.worst.bound == "<" else f"the worst at {row.worst}{wins}"
    cells = [
        (
            f"  {_first_to_last(side.tracks)}", _minutes(side.duration_s), _number(side.recommended),
            _number(side.last_diameter), f"  {_check(side.ruling)}",
        )
        for side in row.sides
    ]  # fmt: skip
    page.blank()
    page.say(f"over {count} side{'s' if count > 1 else ''}: {level}", label="  ")
    _table(page, ("  TRACKS", "length", "level dB", "ends mm", "  limited by"), cells, [""] * count)
    for side in row.sides:
        if side.reordered is not None and side.reordered.wins.value > 0.0:
            _reordering(page, side.reordered, label=f"  {_first_to_last(side.tracks)}: ")


def _reordering(page: Page, order: Reordering, *, label: str) -> None:
    if order.recommended.bound == "<":
        page.say("no order fits at any level", label=label, style="bold", indent=2)
        return
    if order.wins.value <= 0.0:
        page.say("no other order gains anything", label=label, style="bold", indent=2)
        return
    names = ", ".join(_name(track) for track in order.tracks)
    more = "more than " if order.wins.bound else ""
    page.say(
        f"{names} would gain {more}{order.wins.value:.1f} dB, to {order.recommended}: a suggestion, quieter and duller "
        "tracks last", label=label, style="bold", indent=2,
    )  # fmt: skip


def _first_to_last(tracks: Sequence[PlannedTrack]) -> str:
    first, last = _name(tracks[0]), _name(tracks[-1])
    return first if len(tracks) == 1 else f"{first} to {last}"


def _name(track: PlannedTrack) -> str:
    """Name a track by its side and number: "A1", "1/2" where the side ends in a digit, the side alone without."""
    side = shown(track.side, 20)
    if track.number is None:
        return side
    return f"{side}{'/' if side[-1:].isdigit() else ''}{track.number}"


def _check(ruling: str | None) -> str:
    """Name the check of a limit, which `sidegate explain` describes."""
    return (ruling or "").partition("/")[0]


def _minutes(seconds: float) -> str:
    return minutes(round(seconds))


def _number(quantity: Quantity | None) -> str:
    """Write a number without its unit, which the head of the column has."""
    return "-" if quantity is None else str(quantity).rpartition(" ")[0]
