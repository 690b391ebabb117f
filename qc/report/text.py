"""The text report: the verdict, what to mend, each side at a glance, and what passed, in that order."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import BinaryIO

from qc.contract import Finding, Renderer, Report
from qc.quantity import clock
from qc.report.model import AudioFacts, SideReport
from qc.wording import shown

WIDTH = 96
LONGEST = 300
"""Characters of a title; a report is no place for a whole essay."""
WORDS = {"fail": "MEND", "warn": "WEIGH"}
VERDICTS = {
    "pass": "PASS: nothing to mend",
    "warn": "PASS, with warnings to weigh",
    "fail": "FAIL: this delivery must be mended before it is cut",
    "error": "ERROR: a plugin or the tool failed; what is below is not the whole judgement",
}


class Text(Renderer):
    """Writes the report for a person at a terminal."""

    name = "text"
    suffixes = (".txt",)

    def render(self, report: Report, out: BinaryIO) -> None:
        """Write UTF-8, 96 columns wide at most."""
        out.write(("\n".join(_lines(report)) + "\n").encode("utf-8", "replace"))


def _lines(report: Report) -> Iterator[str]:
    yield VERDICTS[report.verdict]
    name = " ".join(part for part in (report.delivery.catalogue, report.delivery.title) if part)
    yield from _wrapped(f"{shown(name, LONGEST)}, judged by {report.ruleset.name}@{report.ruleset.version}", "")
    for failure in report.plugin_failures:
        yield from _wrapped(f"plugin {failure.plugin} failed at {failure.stage}: {failure.message}", "  ")
    findings = sorted((f for result in report.results for f in result.findings), key=_gravity)
    for finding in findings:
        yield ""
        yield from _finding(finding)
    for side in report.sides:
        yield ""
        yield from _glance(side)
    yield ""
    yield from _rest(report)
    yield ""
    for caution in report.cautions:
        yield from _wrapped(caution, "! ", "  ")


def _gravity(finding: Finding) -> tuple[bool, float]:
    """Failures first, then by how far over its limit a value lies, in parts of the limit."""
    limit = finding.limit
    bound = None if limit is None else (limit.fail if finding.severity == "fail" else limit.warn)
    over = float("inf") if finding.margin is None else -finding.margin / max(abs(bound or 0.0), 1e-9)
    return finding.severity != "fail", -over


def _finding(finding: Finding) -> Iterator[str]:
    at = finding.location
    where = [f"side {at.side}"]
    if at.start_s is not None:
        where.append(clock(at.start_s) if at.end_s is None else f"{clock(at.start_s)} to {clock(at.end_s)}")
        measured = None if isinstance(finding.measured, str) else finding.measured.at
        worst = None if measured is None else measured.start_s
        if worst is not None and worst != at.start_s:
            where.append(f"worst at {clock(worst)}")
    if at.track is not None:
        where.append(f"track {at.track}")
    if at.radius_mm is not None:
        where.append(f"radius {at.radius_mm:.1f} mm")
    if at.channel is not None:
        where.append(f"{at.channel} channel")
    if at.line is not None:
        where.append(f"line {at.line} of the delivery")
    yield f"{WORDS[finding.severity]:5} {finding.check}"
    yield f"      {', '.join(where)}"
    sources = f" ({', '.join(finding.sources)})" if finding.sources else ""
    yield from _wrapped(finding.message + sources + ".", "      ")
    yield from _wrapped(finding.remedy, "      > ", "        ")


def _glance(side: SideReport) -> Iterator[str]:
    yield from _wrapped(f"Side {side.id}: {_file(side.audio)}", "", "  ")
    levels, geometry = side.levels, side.geometry
    if levels is None or geometry is None:
        yield "  not measured"
        return
    asked = "as asked for" if levels.declared else "as recommended"
    yield f"  level       judged at {levels.judged} {asked}; recommended {levels.recommended}, clean {levels.clean}"
    if levels.ruling is not None:
        yield f"              ruled by {levels.ruling}"
    yield (
        f"  disc        travel {geometry.travel_mm:.2f} mm (least possible {geometry.travel_least_mm:.2f}), "
        f"mean pitch {geometry.mean_pitch_um:.0f} um"
    )
    room = side.measurements.get("layout.lead_out_room")
    yield f"              last diameter {geometry.last_diameter_mm:.2f} mm" + (
        f", {room.value:.1f} lead-out turns (6.4 mm) to the finishing groove" if room else ""
    )
    yield f"              as cut with {geometry.polarity} polarity, the one that travels further"
    for label, names in _ROWS:
        known = [f"{word} {side.measurements[name]}" for name, word in names if name in side.measurements]
        if known:
            yield f"  {label:11} {', '.join(known)}"


_ROWS = (
    (
        "groove",
        (
            ("groove.top_width_min", "least width"),
            ("groove.depth_max", "deepest"),
            ("groove.land_min", "least land"),
        ),
    ),
    (
        "programme",
        (
            ("loudness.integrated", "loudness"),
            ("level.true_peak", "true peak"),
            ("groove.level_on_disc", "on the disc"),
        ),
    ),
)


def _file(audio: AudioFacts) -> str:
    parts = [audio.file]
    if audio.sample_rate and audio.duration_s is not None:
        channels = {1: "mono", 2: "stereo"}.get(audio.channels or 0, f"{audio.channels} channels")
        parts += [f"{audio.sample_rate / 1000:g} kHz", str(audio.coding), channels, clock(audio.duration_s)]
    return ", ".join(parts)


def _rest(report: Report) -> Iterator[str]:
    """Say what passed and what was not judged, a line each."""
    groups = (
        ("Passed", "pass"),
        ("Not applicable", "not_applicable"),
        ("Not measured", "not_measured"),
        ("Failed to run", "error"),
    )
    for word, outcome in groups:
        sides: dict[str, list[str]] = {}
        for result in report.results:
            if result.outcome == outcome:
                sides.setdefault(result.check, []).append(result.side or "")
        every = len(report.sides)
        if sides:
            named = (check if len(on) == every else f"{check} ({', '.join(on)})" for check, on in sides.items())
            yield from _wrapped(f"{word}: {', '.join(named)}", "", "  ")


def _wrapped(text: str, first: str, rest: str | None = None) -> Iterable[str]:
    return textwrap.wrap(
        _clean(text), WIDTH, initial_indent=first, subsequent_indent=first if rest is None else rest,
        break_on_hyphens=False,
    )  # fmt: skip


def _clean(text: str) -> str:
    """Leave out what would steer a terminal."""
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text)
