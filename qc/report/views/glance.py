"""The lower half of the text report: each side at a glance, its limits, its disc, what passed, cautions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from qc.groove.level.search import HIGHEST
from qc.judge.findings import by_time, grades, judged_numbers, whole
from qc.model.quantity import clock
from qc.model.report import AudioFacts, CheckResult, Geometry, SideReport, TrackFile
from qc.plugin_base import Quantity, Report
from qc.report.views import level_notes, worth
from qc.report.views.declared import declared_lines
from qc.report.views.level_words import disc_notes, judged_as, sides_of
from qc.report.views.lineup import lineup_line
from qc.report.views.notes import JUDGED, notes
from qc.text.numbers import both, listed, quantity_text
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.text.page import Page

INDENT = 8
LONGEST = 120
"""Characters of a title in a table."""
FEW_NOTES = 3
"""Most notes of checks in the short report."""
LEAST_ROWS = 2
"""Fewest limits for a table."""
NEVER = 100.0
"""Level in dB that sorts a limit that no level reaches behind the others."""
GRADES = ("FAIL", "WARN", "waived", "")
WORDS = {"fail": "FAIL", "warn": "WARN", None: ""}
STYLES = {"FAIL": "red", "WARN": "yellow", "waived": "cyan", "": ""}


def sides(page: Page, report: Report, *, spare: int | None) -> None:
    """Write all sides with their limits, and the discs.

    `spare` is the number of lines left: the limit that sets each level, the time strips and the limits reached first
    are written in that order as far as they fit; the first always. None writes everything.
    """
    verbose, shown_too, rows = spare is None, _Shown(rules=True, strips=True), 0
    if spare is not None:
        for shown_too in _SHOWN:
            rows = spare - _height(page, report, shown_too) - 1
            if rows >= -1:
                break
        else:  # no choice fits
            shown_too = _SHOWN[1]
    for side in report.sides:
        _glance(page, report, side, shown_too, verbose=verbose)
        if verbose:
            _every_limit(page, report, side)
            worth.fully(page, side)
            _tracks(page, side)
            _measurements(page, side)
            page.blank()
    if not verbose and rows >= LEAST_ROWS:
        _first_limits(page, report, rows)
    _discs(page, report)


def noted(page: Page, report: Report, *, verbose: bool) -> None:
    """Write what checks noted; in the short report the first few, a line or two each, without the checks' names."""
    found = notes(report)
    count = len(found) if verbose or len(found) <= FEW_NOTES else FEW_NOTES - 1
    for note in found[:count]:
        where = f"{note.check} ({note.where})" if verbose else note.where
        page.say(f"{where}: {shown(note.words, 10 * LONGEST if verbose else LONGEST)}", label="Noted ", indent=2)
    if rest := len(found) - count:
        page.say(f"{rest} more; --verbose has them", label="Noted ", indent=2)


def end(page: Page, report: Report, *, verbose: bool) -> None:
    """Write what passed, what was not judged, and the cautions."""
    if verbose:
        page.blank()
    _rest(page, report, verbose=verbose)
    if report.cautions:
        page.say(" ".join(report.cautions), label="! ", style="yellow", body="dim")


class _Shown(NamedTuple):
    """The optional lines of a side: the limit that sets its level, and the strip of its findings in time."""

    rules: bool
    strips: bool


_SHOWN = (_Shown(rules=True, strips=True), _Shown(rules=True, strips=False), _Shown(rules=False, strips=False))


def _height(page: Page, report: Report, shown_too: _Shown) -> int:
    """Count the lines from the sides to the end, without limits, by writing them to a page that is discarded."""
    scratch = page.like()
    for side in report.sides:
        _glance(scratch, report, side, shown_too, verbose=False)
    _discs(scratch, report)
    end(scratch, report, verbose=False)
    return scratch.lines


def _glance(page: Page, report: Report, side: SideReport, shown_too: _Shown, *, verbose: bool) -> None:
    label = f"Side {shown(side.id, 20)} ".ljust(INDENT)
    levels, geometry, dot = side.levels, side.geometry, page.clean(" · ")
    statements = [" ".join(pair) for pair in declared_lines(side.declared)]
    tones = lineup_line(side)
    if levels is None or geometry is None:
        page.say(f"not measured; {_file(side.audio)}", label=label, style="bold", indent=INDENT)
    else:
        recommended = str(levels.recommended).removesuffix(" dB")
        how = judged_as(report, side)
        level = f"at {levels.judged}{', ' if how.startswith('the') else ' '}{how}"
        level += "" if how == "as recommended" else f"; recommended {recommended}"
        below = f", {said_margin}" if (said_margin := level_notes.margin(side)) else ""
        words = f"{level}{below}, clean {levels.clean}; ends {geometry.last_diameter_mm:.1f} mm"
        if not verbose and statements and page.fits(label + dot.join([words, *statements])):
            words, statements = dot.join([words, *statements]), []
        page.say(words, label=label, style="bold", indent=INDENT)
        if fails := level_notes.unset(report, side):
            page.say(fails, label=" " * INDENT, indent=INDENT + 2, body="yellow")
        if shown_too.rules and not verbose and (rules := worth.ruled(report, side)):
            page.say(rules, label=" " * INDENT, indent=INDENT + 2)
        if (verbose or shown_too.rules) and (tips := level_notes.by_tip(side)):
            page.say(tips, label=" " * INDENT, indent=INDENT + 2)
        if shown_too.strips:
            page.raw(" " * INDENT + _strip(page, report, side))
    if tones:
        page.say(tones, label=" " * INDENT, indent=INDENT + 2)
    for words in statements if verbose else [dot.join(statements)] if statements else []:
        page.say(words, label=" " * INDENT, indent=INDENT + 2)
    if verbose and geometry is not None:
        _fully(page, side)


def _fully(page: Page, side: SideReport) -> None:
    """Write the lines of a side that only the verbose report has."""
    geometry, levels = side.geometry, side.levels
    assert geometry is not None  # asked before
    assert levels is not None
    room = side.measurements.get("layout.lead_out_room")
    lines = [
        _file(side.audio),
        f"SHA-256 {side.audio.sha256}" if side.audio.sha256 else "",
        *own_md5(side.audio),
        f"level limited by {levels.ruling}" if levels.ruling else "",
        f"{geometry.size} at {geometry.rpm:.4g} turns a minute, {geometry.outer_diameter_mm:.1f} to "
        f"{geometry.finishing_diameter_mm:.1f} mm; cut from {clock(geometry.span_start_s)} to "
        f"{clock(geometry.span_end_s)}" + (f", then room for {room.value:.1f} turns of lead-out" if room else ""),
        f"{side.second_look_s:.1f} s examined again for the remedies" if side.second_look_s else "",
        f"travel {geometry.travel_mm:.2f} mm{_least(geometry)}, mean pitch "
        f"{geometry.mean_pitch_um:.0f} um, with {geometry.polarity} polarity"
        + (f"; {geometry.overlaps} turns overlap" if geometry.overlaps else ""),
    ]
    for line in lines:
        if line:
            page.say(line, label=" " * INDENT, indent=INDENT + 2)


def _least(geometry: Geometry) -> str:
    """Write the least possible travel; empty on a short side, where the carriage's run-in makes it larger."""
    least = geometry.travel_least_mm
    return f" (least possible {least:.2f})" if least <= geometry.travel_mm else ""


def _strip(page: Page, report: Report, side: SideReport) -> str:
    """Draw the side from its first to its last second: tracks by number, F and W where a finding lies."""
    length = side.audio.duration_s or 0.0
    geometry = side.geometry
    if length <= 0.0 or geometry is None:
        return ""
    last_second = f" {clock(length)}"
    cells = page.width - INDENT - len(last_second)
    line, taken = [" "] * cells, set[int]()

    def cell(second: float) -> int:
        return min(cells - 1, max(0, int(second / length * cells)))

    parts = [(track.start_s, track.end_s, str(track.number)) for track in geometry.tracks]
    for start, stop, name in parts or [(geometry.span_start_s, geometry.span_end_s, "")]:
        first, last = cell(start), cell(stop)
        line[first : last + 1] = page.clean("─") * (last + 1 - first)
        for index, char in enumerate(name[: last - first]):
            line[first + index] = char
    for measured in sorted(by_time(report, side.id), key=lambda measured: measured.gravity):
        at = cell(measured.second or 0.0)
        if at not in taken:
            line[at] = "F" if measured.finding.severity == "fail" else "W"
            taken.add(at)
    return "".join(line) + last_second


def _every_limit(page: Page, report: Report, side: SideReport) -> None:
    """Write the limits of a side by check, exceeded ones first."""
    rows: list[tuple[str, ...]] = []
    styles = []
    checks: dict[str, list[tuple[str, ...]]] = {}
    for _, cells in sorted(_limit_rows(report, side)):
        check, _, key = cells[0].partition("/")
        checks.setdefault(check, []).append((f"  {key}", *cells[1:]))
    for check, limits in checks.items():
        rows += [(check,), *limits]
        styles += ["", *(STYLES.get(cells[1], "") for cells in limits)]
    if rows:
        page.table(
            (f"LIMITS OF {shown(side.id, 20)}", "", "value", "warn/fail", "reached at"), rows, left=2, styles=styles
        )


def _first_limits(page: Page, report: Report, most: int) -> None:
    """Write `most` limits at most: of each side those that a rising level reaches first."""
    limits_by_side = [
        sorted((row for row in _limit_rows(report, side) if row[0].level < NEVER), key=lambda row: row[0].level)
        for side in report.sides
    ]
    each = max(1, most // max(1, len(limits_by_side)))
    rows = [
        (f"{shown(side.id, 20)} {cells[0]}", *cells[1:])
        for side, limits in zip(report.sides, limits_by_side, strict=True)
        for _, cells in limits[:each]
    ]
    if rows:
        styles = [STYLES.get(cells[1], "") for cells in rows]
        head = ("LIMITS that come first", "", "value", "warn/fail", "reached at")
        page.table(head, rows, styles=styles, left=2, least=4)


class _Order(NamedTuple):
    grade: int
    level: float
    name: str


def _limit_rows(report: Report, side: SideReport) -> Iterator[tuple[_Order, tuple[str, ...]]]:
    """Yield a sort key and the cells of each limit of a side: name, word, value, limit, level."""
    levels = side.levels
    waived, graded = _waived(report, side), grades(report, side.id)
    for name, judged in judged_numbers(report, side).items():
        limit = report.ruleset.limits[name]
        reached = None if levels is None else levels.by_limit.get(name)
        grade = WORDS[graded.get(name)]
        grade = "waived" if grade and name in waived else grade
        last = None if reached is None else reached.level
        level = "" if last is None else str(last)
        value = judged.text(limit.measure)
        order = _Order(GRADES.index(grade), NEVER if last is None or 10.0 * last.value >= HIGHEST else last.value, name)
        rules = "rules" if levels is not None and levels.ruling == name else ""
        yield order, (name, grade or rules, value, both(limit), level)


def _waived(report: Report, side: SideReport) -> set[str]:
    """Return the names of limits whose findings on a side are all waived."""
    names: dict[str, list[bool]] = {}
    for measured in whole(report):
        if measured.side == side.id:
            names.setdefault(measured.limit_name(report), []).append(measured.finding.waived_by is not None)
    return {name for name, answered in names.items() if all(answered)}


def _tracks(page: Page, side: SideReport) -> None:
    geometry = side.geometry
    if geometry is None or not geometry.tracks:
        return
    rows = []
    for track in geometry.tracks:
        radii = (track.start_radius_mm, track.end_radius_mm)
        sizes = [f"{size:.2f}" for radius in radii for size in (radius, 2.0 * radius)]
        title = shown(track.title, LONGEST)
        rows.append((f"{track.number} {title}", clock(track.start_s), clock(track.end_s), *sizes))
    page.table(("TRACK", "from", "to", "radius mm", "diameter", "radius mm", "diameter"), rows)


def _measurements(page: Page, side: SideReport) -> None:
    rows = []
    for name, quantity in sorted(side.measurements.items()):
        at = quantity.at
        value = quantity_text(name, quantity)
        second = "" if at is None or at.start_s is None else clock(at.start_s)
        track = "" if at is None or at.track is None else str(at.track)
        radius = "" if at is None or at.radius_mm is None else f"{at.radius_mm:.1f} mm"
        rows.append((name, value, second, track, radius))
    if rows:
        page.table(("MEASURED", "value", "second", "track", "radius"), rows)


def _discs(page: Page, report: Report) -> None:
    """Write the release level of each disc, and how much lower each side is cut for it."""
    for disc in report.discs:
        away = [f"{side} is cut lower by {_plain(gift)}" for side, gift in disc.gives_away.items() if gift.value > 0.0]
        gifts = [listed(away) if away else "no side is cut lower for it"] if len(disc.sides) > 1 else []
        both_sides = page.clean("/").join(sides_of(disc))
        words = f"release at {disc.release}, set by side {disc.ruling}"
        page.say("; ".join([words, *gifts, *disc_notes(report, disc)]),
                 label=f"Disc {shown(both_sides, 20)}".ljust(INDENT) + (" " if len(both_sides) > 2 else ""),
                 style="bold", indent=INDENT)  # fmt: skip


def _plain(gift: Quantity) -> str:
    return f"{gift.value:.1f} {gift.unit}"


def own_md5(audio: AudioFacts) -> list[str]:
    """Return a line for each FLAC file: whether the MD5 it states is that of its samples."""
    words = {
        "agrees": "the MD5 it states is that of its samples",
        "disagrees": "the MD5 it states is not that of its samples",
        "not stated": "it states no MD5 of its samples",
    }
    files: tuple[AudioFacts | TrackFile, ...] = (audio, *audio.files)
    return [f"{shown(file.file, 300)}: {words[file.own_md5]}" for file in files if file.own_md5 is not None]


def _file(audio: AudioFacts) -> str:
    parts = [shown(audio.file, 300)]
    if audio.sample_rate and audio.duration_s is not None:
        channels = {1: "mono", 2: "stereo"}.get(audio.channels or 0, f"{audio.channels} channels")
        parts += [f"{audio.sample_rate / 1000:g} kHz", str(audio.coding), channels, clock(audio.duration_s)]
    return ", ".join(parts)


def _rest(page: Page, report: Report, *, verbose: bool) -> None:
    """Write the number of checks that passed, and the names of those that were not judged."""
    for word, outcome in _OUTCOMES:
        results = [result for result in report.results if result.outcome == outcome]
        if not results:
            continue
        if outcome == "pass" and not verbose:
            page.say(f"{_counted(report, results)}", label=f"{word} ", style="green", indent=2)
            continue
        if outcome in {"not_applicable", "waived"} and not verbose:  # the waivers are listed above
            continue
        reasons = {result.reason for result in results} if outcome not in JUDGED else set()
        names: dict[str, list[str]] = {}
        for result in results:
            names.setdefault(result.check, []).append(result.side or "delivery")
        every = len(report.sides)
        named = [
            check if len(on) == every and every > 1 else f"{check} ({', '.join(on)})" for check, on in names.items()
        ]
        reason = reasons.pop() if len(reasons) == 1 else ""
        why = f": {reason}" if reason else ""
        page.say(", ".join(named) + why, label=f"{word} ", indent=2)


def _counted(report: Report, results: list[CheckResult]) -> str:
    """Count results a side: "11 of 13 checks on A, 5 of 13 on B, 3 of 3 on all"."""
    parts: list[str] = []
    for side in dict.fromkeys(result.side for result in report.results):
        judged = [result for result in report.results if result.outcome != "not_applicable"]
        every = sum(result.side == side for result in judged)
        many = sum(result.side == side for result in results)
        parts.append(f"{many} of {every}{'' if parts else ' checks'} on {side or 'all'}")
    return f"{', '.join(parts)}; more: --verbose"


_OUTCOMES = (
    ("Passed", "pass"),
    ("Waived", "waived"),
    ("Not applicable", "not_applicable"),
    ("Not measured", "not_measured"),
    ("Failed to run", "error"),
)
