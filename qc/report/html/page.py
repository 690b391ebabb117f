"""The page put together: what the templates are given, and what a browser is allowed to do with it."""

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
from qc.plugin_api import Evidence, Report
from qc.report.html import tables
from qc.report.html.drawn import Drawn, drawn
from qc.report.html.safe import harmless, island
from qc.report.html.told import groups, matters, told
from qc.report.text.report import VERDICTS
from qc.report.views import level_notes, requested_level, since, worth
from qc.report.views.changed import change_lines
from qc.report.views.declared import declared_lines
from qc.report.views.glance import own_md5
from qc.report.views.level_words import disc_notes, judged_as, option_words, sides_of
from qc.report.views.lineup import lineup_line
from qc.report.views.stored_sides import measured_earlier, measured_earlier_lines
from qc.report.views.waivers import given

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
"""Nothing is fetched from anywhere; of scripts only those that the page itself is made with may run."""


@cache
def templates() -> Environment:
    """Give the templates; whatever they write is escaped, and harmless to the eye."""
    made = Environment(
        loader=PackageLoader("qc.report.html"), autoescape=True, finalize=harmless, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters |= {"clock": clock, "island": island, "mark": since.mark, "line": since.whole_line, "given": given}
    return made


def document(report: Report, evidence: Evidence) -> str:
    """Write the page."""
    every = told(report)
    pictures = [drawn(report, number, evidence, every) for number in range(1, len(report.sides) + 1)]
    data = {"sides": [one.data for one in pictures if one.data]}
    scripts = _scripts(wanted=bool(data["sides"]))
    return templates().get_template("page.html").render(
        report=report,
        verdict=VERDICTS[report.verdict],
        matters=matters(report, every),
        groups=groups(report, every),
        counts=_counts(report),
        changes=[*change_lines(report.ruleset), *filter(None, [option_words(report)])],
        measured_earlier=list(measured_earlier_lines(report.run)),
        sides=[_side(report, number, evidence, one) for number, one in enumerate(pictures, start=1)],
        since=_since(report),
        assumed=tables.assumed(report),
        outcomes=list(tables.outcomes(report)),
        style=Markup(_own("page.css") + _own("figure.css")),  # noqa: S704 - our own files
        scripts=[Markup(script) for script in scripts],  # noqa: S704 - our own files
        policy=_policy(scripts),
        data=data,
    )  # fmt: skip


def _since(report: Report) -> dict[str, Any] | None:
    """Give what the template says of an earlier report, in the words of the text report."""
    before = report.baseline
    if before is None:
        return None
    notes = [since.judged_otherwise(report, before), *since.other_level_words(before), *since.left_out_words(before)]
    heading, fates = since.heading(before), since.earlier_only(report)
    return {"heading": heading, "fates": fates, "notes": [note for note in notes if note]}


def _own(name: str) -> str:
    return files("qc.report.html").joinpath("templates", name).read_text(encoding="utf-8")


def _scripts(*, wanted: bool) -> list[str]:
    """Return the page's scripts; those that draw only where there is something to draw."""
    drawing = ("face.js", "curves.js", "timelines.js") if wanted else ()
    return [_own(name) for name in ("page.js", *drawing)]


def _policy(scripts: list[str]) -> str:
    digests = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts]
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return f"{POLICY}; script-src {allowed}"


def _counts(report: Report) -> list[tuple[str, int]]:
    """Count the outcomes of all checks."""
    words = (
        ("fail", "failed"), ("warn", "warned"), ("waived", "waived"), ("pass", "passed"), ("error", "failed to run"),
        ("not_measured", "not measured"),
    )  # fmt: skip
    outcomes = [result.outcome for result in report.results]
    return [(word, outcomes.count(outcome)) for outcome, word in words if outcome in outcomes]


def _side(report: Report, number: int, evidence: Evidence, pictures: Drawn) -> dict[str, Any]:
    """Give what the template says of a side; `number` counts from 1."""
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
        "unset": level_notes.unset(report, side),
        "mended": requested_level.fixed_by_recommended(report, side),
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
