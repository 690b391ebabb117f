"""The HTML page: the variables of its templates, and the policy that a browser enforces."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from qc.model.quantity import clock
from qc.model.report import SideReport
from qc.plugin_base import Evidence, Report
from qc.report.html import tables
from qc.report.html.finding_views import finding_views, groups, matters
from qc.report.html.safe import harmless, island
from qc.report.html.side_pictures import SidePictures, draw_side
from qc.report.text.report import first_line
from qc.report.views import approvals, level_notes, requested_level, since, worth
from qc.report.views.changed import change_lines
from qc.report.views.declared import declared_lines
from qc.report.views.glance import own_md5
from qc.report.views.level_words import disc_notes, judged_as, option_words, sides_of
from qc.report.views.lineup import lineup_line
from qc.report.views.notes import notes
from qc.report.views.stored_sides import measured_earlier, measured_earlier_lines
from qc.report.views.waivers import given

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
"""Content security policy: nothing is fetched, and no script runs but those of the page, named by their digests."""


@cache
def templates() -> Environment:
    """Return the environment of the templates, which escapes all values and shows control characters as escapes."""
    environment = Environment(
        loader=PackageLoader("qc.report.html"), autoescape=True, finalize=harmless, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters |= {
        "clock": clock,
        "island": island,
        "mark": since.mark,
        "line": since.whole_line,
        "given": given,
        "approved": approvals.what,
        "approved_in": approvals.given,
        "since_approval": approvals.state,
    }
    return environment


def document(report: Report, evidence: Evidence) -> str:
    """Return the page."""
    findings = finding_views(report)
    pictures = [draw_side(report, number, evidence, findings) for number in range(1, len(report.sides) + 1)]
    data = {"sides": [side.data for side in pictures if side.data]}
    scripts = _scripts(wanted=bool(data["sides"]))
    return templates().get_template("page.html").render(
        report=report,
        verdict=first_line(report),
        matters=matters(report, findings),
        groups=groups(report, findings),
        counts=_counts(report),
        changes=[*change_lines(report.ruleset), *filter(None, [option_words(report)])],
        measured_earlier=list(measured_earlier_lines(report.run)),
        sides=[_side(report, number, evidence, side) for number, side in enumerate(pictures, start=1)],
        since=_since(report),
        assumed=tables.assumed(report),
        parameters=tables.parameters(report),
        outcomes=list(tables.outcomes(report)),
        notes=notes(report),
        style=Markup(_own("page.css") + _own("figure.css")),  # noqa: S704 - our own files
        scripts=[Markup(script) for script in scripts],  # noqa: S704 - our own files
        policy=_policy(scripts),
        data=data,
    )  # fmt: skip


def _since(report: Report) -> dict[str, Any] | None:
    """Return the template's variables of the earlier report, in the words of the text report; None without one."""
    before = report.baseline
    if before is None:
        return None
    notes = [since.judged_otherwise(report, before), *since.other_level_words(before), *since.left_out_words(before)]
    heading, changes = since.heading(before), since.earlier_only(report)
    return {"heading": heading, "changes": changes, "notes": [note for note in notes if note]}


def _own(name: str) -> str:
    return files("qc.report.html").joinpath("templates", name).read_text(encoding="utf-8")


def _scripts(*, wanted: bool) -> list[str]:
    """Return the page's scripts; those that draw only where there is something to draw."""
    drawing = ("face.js", "curves.js", "panels.js", "timelines.js") if wanted else ()
    return [_own(name) for name in ("page.js", *drawing)]


def _policy(scripts: list[str]) -> str:
    digests = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts]
    hashes = " ".join(f"'sha256-{digest}'" for digest in digests)
    return f"{POLICY}; script-src {hashes}"


def _counts(report: Report) -> list[tuple[str, int]]:
    """Count the checks by outcome: (word, count) for each outcome that occurs."""
    words = (
        ("fail", "failed"), ("warn", "warned"), ("waived", "waived"), ("pass", "passed"), ("error", "failed to run"),
        ("not_measured", "not measured"),
    )  # fmt: skip
    outcomes = [result.outcome for result in report.results]
    return [(word, outcomes.count(outcome)) for outcome, word in words if outcome in outcomes]


def _side(report: Report, number: int, evidence: Evidence, pictures: SidePictures) -> dict[str, Any]:
    """Return the template's variables of a side; `number` counts from 1."""
    side = report.sides[number - 1]
    release = next((disc for disc in report.discs if side.id in sides_of(disc)), None)
    return {
        "number": number,
        "side": side,
        "audio": _audio(side),
        "measured_earlier": measured_earlier(report.run, side.id),
        "own_md5": own_md5(side.audio),
        "ruled": worth.ruled(report, side),
        "margin": level_notes.margin(side),
        "by_tip": level_notes.by_tip(side),
        "tips": tables.tips(side),
        "unset": level_notes.unset(report, side),
        "fixed": requested_level.fixed_by_recommended(report, side),
        "declared": [*_lineup(side), *declared_lines(side.declared)],
        "limits": tables.limits(report, side),
        "measurements": tables.measurements(side),
        "pictures": pictures,
        "formats": tables.formats(evidence.formats.get(side.id, ())),
        "judged_as": "" if side.levels is None else judged_as(report, side),
        "release": release,
        "disc_notes": [] if release is None else list(disc_notes(report, release)),
    }


def _lineup(side: SideReport) -> list[tuple[str, str]]:
    line = lineup_line(side)
    return [("line-up", line)] if line else []


def _audio(side: SideReport) -> str:
    audio = side.audio
    if audio.sample_rate is None or audio.duration_s is None:
        return "the file could not be read"
    channels = {1: "mono", 2: "stereo"}.get(audio.channels or 0, f"{audio.channels} channels")
    return f"{audio.sample_rate / 1000:g} kHz, {audio.coding}, {channels}, {clock(audio.duration_s)}"
