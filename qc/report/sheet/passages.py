"""The content of a cutting sheet: facts of a side, its tracks on the disc, and passages to watch, in time order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from qc.judge.findings import MeasuredFinding, by_time, every
from qc.model.quantity import clock
from qc.model.report import Geometry, Report, SideReport
from qc.report.views import level_notes, since
from qc.report.views import waivers as waived
from qc.report.views.changed import change_lines
from qc.report.views.declared import approval_words, source_words
from qc.report.views.level_words import disc_notes, judged_as, option_words, sides_of
from qc.report.views.lineup import lineup_line
from qc.report.views.stored_sides import measured_earlier
from qc.report.views.subjects import subjects_words
from qc.text.numbers import listed
from qc.text.sanitize import shown
from qc.text.table import Table

LONGEST = 120
"""Characters of a title or name; a sheet is one page."""
LINES = 60
"""Lines of a printed page, long ones counted as they break: a fact at 80 characters, a title at 28, a reason at 60."""
ROWS = 38
"""Rows of all the tables of a page together, so that its Markdown stays below 60 lines."""
LEAST_PASSAGES = 3
SECONDS = 4
"""Times that a fact lists."""
WAIVERS = 6
"""Waivers that are listed."""
TOGETHER = 0.5
"""Seconds within which findings belong to the same passage."""


@dataclass(frozen=True)
class SheetPage:
    """The page of a side."""

    title: str
    facts: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]
    cautions: tuple[str, ...] = field(default=())


def pages(report: Report) -> list[SheetPage]:
    """Return a page for each side of the delivery."""
    return [_page(report, side) for side in report.sides]


def _page(report: Report, side: SideReport) -> SheetPage:
    name = " ".join(_said(part) for part in (report.delivery.catalogue, report.delivery.title) if part)
    facts = tuple((label, words) for label, words in _facts(report, side) if words)
    tables = [_tracks(side.geometry)] if side.geometry and side.geometry.tracks else []
    used = 4 + _height(name, 60) + len(report.cautions) + sum(_height(words, 80) for _, words in facts)
    used += sum(3 + sum(_height(row[1], 28) for row in table.rows) for table in tables)
    rows = len(facts) + sum(len(table.rows) for table in tables)
    tables.append(_passages(report, side, LINES - used - 3, ROWS - rows))
    return SheetPage(f"{name}, side {_said(side.id)}", facts, tuple(tables), report.cautions)


def _facts(report: Report, side: SideReport) -> Iterator[tuple[str, str]]:
    declared, chain = side.declared, report.ruleset.chain
    yield "Engrave", _said(declared.get("inscription") or "nothing is declared")
    yield "Verdict", _verdict(report, side)
    yield "Whole delivery", subjects_words(report)
    answers = list(_waivers(report, side))
    answers[WAIVERS:] = [f"{len(answers) - WAIVERS} more in the report"] if len(answers) > WAIVERS else []
    yield "Waived", "; ".join(answers)
    yield "Since", _since(report, side)
    if side.geometry is not None and side.levels is not None:
        yield from _levels(report, side)
        yield from _format(side.geometry, chain)
        yield from _edges(side, side.geometry)
    else:
        yield "Level", "the side was not measured; do not cut it"
    earlier = measured_earlier(report.run, side.id)
    yield "Audio", _audio(side) + (f"; {earlier}" if earlier else "")
    yield "Prepared", ", ".join(_said(step) for step in declared.get("prepared", ()))
    source: Mapping[str, Any] = declared.get("source") or {}
    yield "Source", source_words(source)
    yield "Approved", "; ".join(approval_words(approval) for approval in source.get("approvals", ()))
    unneeded = [_said(warning.plugin) for warning in report.plugin_warnings]
    yield "Left out", f"plugin {listed(unneeded)}, which did not load and is not needed here" if unneeded else ""
    changes = "".join(f"; {line}" for line in change_lines(report.ruleset))
    yield "Judged by", f"{report.ruleset.name}@{report.ruleset.version}, {report.tool}{changes}"


def _verdict(report: Report, side: SideReport) -> str:
    findings = [measured.finding for measured in every(report) if measured.finding.location.side in {side.id, ""}]
    fails = {finding.check for finding in findings if finding.severity == "fail"}
    warns = {finding.check for finding in findings if finding.severity == "warn"} - fails
    broken = [result.check for result in report.results if result.outcome == "error" and result.side in {side.id, None}]
    parts = [f"fix {listed(sorted(fails))}"] if fails else []
    parts += [f"consider {listed(sorted(warns))}"] if warns else []
    parts += [f"not judged, because of a failure: {listed(broken)}"] if broken else []
    return ("do not cut before it is fixed: " if fails else "") + ("; ".join(parts) or "nothing to fix")


def _waivers(report: Report, side: SideReport) -> Iterator[str]:
    """Yield a line for each waiver that covers findings of a side, is not counted or has expired."""
    for waiver in report.waivers:
        if waiver.side not in {None, side.id}:
            continue
        findings = [row for row in waived.covered(report, waiver) if row.finding.location.side in {side.id, ""}]
        if findings:
            seconds = [clock(measured.second) for measured in findings if measured.second is not None]
            more = [f"{len(seconds) - SECONDS} more"] if len(seconds) > SECONDS else []
            where = f" at {listed(seconds[:SECONDS] + more)}" if seconds else ""
            yield f"{waiver.check}{where}, by {_said(waived.answer_and_place(waiver))}"
        elif waiver.state == "not_counted" and waiver.findings:
            yield f"{waiver.check} is {waived.fault(report, waiver)}"
        elif waiver.state == "expired" and waiver.findings:
            yield f"{waiver.check} not any more: {waived.fault(report, waiver)}"


def _since(report: Report, side: SideReport) -> str:
    """Count the findings of a side by their state since the earlier report, with the times of those that changed."""
    if report.baseline is None:
        return ""
    day = report.baseline.started
    parts = []
    for group in since.change_groups(report):
        findings = [measured for measured in group.findings if measured.finding.location.side in {side.id, ""}]
        times = [] if group.word == "as before" else [_when(passage[0]) for passage in since.passages(findings)]
        times[SECONDS:] = [f"{len(times) - SECONDS} more"] if len(times) > SECONDS else []
        if findings or group.word in {"fixed", "new", "as before"}:
            parts.append(f"{len(findings)} {group.word}" + (f" ({', '.join(times)})" if times else ""))
    return f"{_said(report.baseline.file)}{f' of {_said(day[:10])}' if day else ''}: {', '.join(parts)}"


def _when(measured: MeasuredFinding) -> str:
    return measured.finding.check if measured.second is None else clock(measured.second)


def _levels(report: Report, side: SideReport) -> Iterator[tuple[str, str]]:
    levels = side.levels
    assert levels is not None  # asked before
    if tones := lineup_line(side):
        yield "Line-up", tones
    how = judged_as(report, side)
    how = f", {how}" if how.startswith("the") else f" {how}"
    ruled = f", limited by {levels.ruling}" if levels.ruling else ""
    yield "Level", f"judged at {levels.judged}{how}; recommended {levels.recommended}{ruled}; clean {levels.clean}"
    if option := option_words(report):
        yield "Judged at", option
    if tips := level_notes.tip_lines(report, side):
        yield "By tip", "; ".join(tips)
    for disc in report.discs:
        if side.id not in sides_of(disc):
            continue
        words = [f"release at {disc.release}, set by side {_said(disc.ruling)}"]
        if side.id in disc.sides and len(disc.sides) > 1:
            gift = disc.gives_away[side.id]
            given = gift.value > 0.0
            words.append(
                f"this side is cut lower by {gift.value:.1f} {gift.unit}" if given else "no lower than its own level"
            )
        yield f"Disc {_said('/'.join(sides_of(disc)))}", "; ".join([*words, *disc_notes(report, disc)])


def _format(geometry: Geometry, chain: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    speed = "33 1/3" if geometry.speed == "33" else geometry.speed
    room = f"{geometry.outer_diameter_mm:.1f} mm, finishing groove at {geometry.finishing_diameter_mm:.1f} mm"
    yield "Disc format", f"{geometry.size} at {speed}; recorded from {room}"
    cut = {name: _said(str(entry["value"])) for name, entry in chain.get("cut", {}).items()}
    if cut:
        polarity = "not fixed, the worse one counts" if cut["polarity"] == "worst" else cut["polarity"]
        velocity = f"{cut['reference_velocity']} peak, lateral"
        tone = f"at 0 dB, 1 kHz alike in both channels at {cut['align']} peak cuts {velocity}"
        yield "Alignment", f"{tone}; polarity {polarity}"
        depth = f"depth {cut['depth']}" + (f" to {cut['nominal_depth']}" if cut["depth"] == "variable" else "")
        pitch = f"mean pitch {geometry.mean_pitch_um:.0f} um, travel {geometry.travel_mm:.1f} mm"
        yield "Groove", f"width {cut['top_width']}, land {cut['land']}, {depth}; {pitch}"


def _edges(side: SideReport, geometry: Geometry) -> Iterator[tuple[str, str]]:
    lead_in = side.measurements.get("layout.lead_in_silence")
    silence = f"; the file begins with {lead_in} of silence" if lead_in else ""
    yield "Lead-in", f"groove from {clock(geometry.span_start_s)} at {geometry.outer_diameter_mm:.1f} mm{silence}"
    room = side.measurements.get("layout.lead_out_room")
    after = side.measurements.get("layout.lead_out_silence")
    words = f"groove ends at {clock(geometry.span_end_s)} at {geometry.last_diameter_mm:.1f} mm"
    words += f"; room for {room.value:.1f} turns at 6.4 mm" if room else ""
    yield "Lead-out", words + (f"; the file ends with {after} of silence" if after else "")


def _tracks(geometry: Geometry) -> Table:
    rows = []
    for track in geometry.tracks:
        sizes = [f"{n * radius:.1f}" for radius in (track.start_radius_mm, track.end_radius_mm) for n in (1.0, 2.0)]
        rows.append((str(track.number), _said(track.title), clock(track.start_s), clock(track.end_s), *sizes))
    return Table(
        "Tracks and marks: where each begins and ends, as cut at the level it was judged at",
        ("track", "title", "from", "to", "r mm", "d mm", "to r mm", "to d mm"), tuple(rows), frozenset(range(2, 8)),
    )  # fmt: skip


def _passages(report: Report, side: SideReport, room: int, most: int) -> Table:
    """Group findings within half a second into passages; where there is no room, the most serious passages remain."""
    groups: list[list[MeasuredFinding]] = []
    for measured in by_time(report, side.id, waived=True):  # the stylus meets waived places too
        last = groups[-1][0] if groups else None
        if last and (measured.second or 0.0) - (last.second or 0.0) < TOGETHER and _track(measured) == _track(last):
            groups[-1].append(measured)
        else:
            groups.append([measured])
    kept: list[int] = []
    for index in sorted(range(len(groups)), key=lambda index: min(measured.gravity for measured in groups[index])):
        room -= _height(_passage(groups[index])[-1], 60)
        if len(kept) >= LEAST_PASSAGES and (room < 0 or len(kept) >= most):
            break
        kept.append(index)
    more = len(groups) - len(kept)
    return Table(
        "Passages to watch" if groups else "Passages to watch: none",
        ("second", "track", "r mm", "", "why"),
        tuple(_passage(groups[index]) for index in sorted(kept)),
        frozenset({0, 1, 2, 3}),
        f"and {more} more in the report" if more else "",
    )


def _passage(group: list[MeasuredFinding]) -> tuple[str, ...]:
    first = group[0]
    radius = first.finding.location.radius_mm
    unwaived = [measured for measured in group if measured.finding.waived_by is None]
    fails = any(measured.finding.severity == "fail" for measured in unwaived)
    word = "fail" if fails else "warn" if unwaived else "waived"
    why = ". ".join(
        _said(measured.finding.message) for measured in sorted(group, key=lambda measured: measured.gravity)[:3]
    )
    rest = f". And {len(group) - 3} more" if len(group) > 3 else ""
    return clock(first.second or 0.0), _track(first), "" if radius is None else f"{radius:.1f}", word, why + rest


def _track(measured: MeasuredFinding) -> str:
    return "" if measured.finding.location.track is None else str(measured.finding.location.track)


def _audio(side: SideReport) -> str:
    audio = side.audio
    if audio.sample_rate is None or audio.duration_s is None:
        return _said(audio.file)
    digest = f", SHA-256 {audio.sha256[:16]}..." if audio.sha256 else ""
    return f"{_said(audio.file)}, {audio.sample_rate / 1000:g} kHz, {audio.coding}, {clock(audio.duration_s)}{digest}"


def _height(text: str, columns: int) -> int:
    """Estimate the printed lines of a text."""
    return max(1, -(-len(text) // columns))


def _said(words: str) -> str:
    return shown(" ".join(words.split()), LONGEST)
