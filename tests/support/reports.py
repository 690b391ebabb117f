"""Reports made by hand, with every outcome that there is, for formats to be written from."""

from __future__ import annotations

import io

import numpy as np

import qc_standard
from qc.model.check_docs import CheckWords
from qc.model.report import (
    AudioFacts,
    BaselineFacts,
    CheckResult,
    DeliveryFacts,
    Geometry,
    Levels,
    PluginFailure,
    Report,
    RulesetFacts,
    Run,
    SideReport,
    TrackFile,
    TrackPlace,
    WaiverFacts,
)
from qc.plugin_api import At, Evidence, Finding, Limit, Location, Quantity, Remedy
from qc.ruleset.sources import Sources
from qc_rulesets import qc_rulesets

HOSTILE = (
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "\u202egnp.exe \u2066x\u2069 \u200b",
    "\u05e9\u05dc\u05d5\u05dd \u0627\u0644\u0628\u062d\u0631",
    "\U0001f30a\U0001f9dc\u200d\u2640\ufe0f",
    "a\x00b\x07c\x1b[2J\x85\ufffe\ud800",
    "line\r\n\n# heading\n- list",
    "Salt on Glass " * 400,
    "`code` | pipe || \"quote\" 'quote' *b* _u_ ~~s~~ \\",
    "[click](http://example.invalid/) ![x](y) <http://example.invalid/>",
    "{{ 7 * 7 }} {% raw %} {0} %s ${x}",
    "=HYPERLINK(1)",
    "]]>&lt;&#60;<!-- -->",
)
"""Titles that are out for something."""


def finding(check, severity, **more):
    """A finding on side A at 1:16; `at` is a place of another kind."""
    place = more.pop("at", {"side": "A", "track": 1, "start_s": 76.0, "end_s": 76.0 + 1 / 75, "radius_mm": 100.5})
    start = place.get("start_s")
    given = {
        "message": "The greatest depth is 130.0 um, above 127.0 um",
        "measured": Quantity(value=130.0, unit="um", at=None if start is None else At(start_s=start)),
        "measure": "groove.depth_max",
        "limit": Limit(warn=0.0, fail=127.0, unit="um", source="G-6; practice", origin="disc-12in-33/1.0.0.yaml:60"),
        "margin": -3.0,
        "remedy": "Cut lower.",
        "sources": ("G-6", "practice"),
        "fingerprint": f"{check}/{severity}/{start}"[-30:],
        **more,
    }
    return Finding(check=check, severity=severity, location=Location(**place), **given)


def result(check, outcome, *findings, side="A", **more):
    scope = "delivery" if side is None else "side"
    return CheckResult(check=check, scope=scope, side=side, outcome=outcome, findings=findings, **more)


def side(name="A", title="Slack Water", *, file="side-a.wav", line=6, files=(), measured=True):
    tracks = (
        TrackPlace(number=1, title=title, start_s=1.5, end_s=90.0, start_radius_mm=146.0, end_radius_mm=120.0),
        TrackPlace(number=2, title="Bell Buoy", start_s=92.0, end_s=180.0, start_radius_mm=119.0, end_radius_mm=90.0),
    )
    geometry = Geometry(
        size="12in", speed="33", rpm=100 / 3, sectors_a_turn=135, outer_diameter_mm=292.6, finishing_diameter_mm=106.4,
        span_start_s=112 / 75, span_end_s=180.0, travel_mm=50.0, travel_least_mm=20.0, last_diameter_mm=180.0,
        mean_pitch_um=150.0, polarity="normal", tracks=tracks,
    )  # fmt: skip
    zero = Quantity(value=0.0, unit="dB")
    return SideReport(
        id=name,
        audio=AudioFacts(file=file, sha256="ab" * 32 if measured else None, duration_s=181.0 if measured else None,
                         files=files),
        line=line,
        geometry=geometry if measured else None,
        levels=Levels(judged=zero, recommended=zero, clean=zero) if measured else None,
        declared={"id": name, "tracks": [{"number": t.number, "title": t.title} for t in tracks]},
        passes=int(measured),
    )  # fmt: skip


def report(sides, results, **more):
    given = {"title": "Quiet Harbour", "verdict": "pass", "run": None, **more}
    title = given.pop("title")
    return Report(
        tool="sidegate 0.1.0",
        plugins=("standard (sidegate 0.1.0)",),
        ruleset=RulesetFacts(name="disc-12in-33", version="1.0.0", sha256="cd" * 32),
        delivery=DeliveryFacts(
            file=given.pop("file", "delivery.yaml"), sha256="ef" * 32, title=title, catalogue="QH-1"
        ),
        sides=tuple(sides),
        results=tuple(results),
        **given,
    )


RUN = Run(started="2026-03-01T10:00:00+00:00", seconds=2.5, workers=2)
WAIVER = WaiverFacts(
    key="delivery.yaml:31", check="level.clipped", side="A", reason="meant as an effect", owner="M. Reed", state="used",
    findings=1,
)  # fmt: skip


def eventful(**more):
    """One result of every outcome, a waiver, a baseline, plugins that broke with and without a check."""
    waived = finding("level.clipped", "fail", waived_by="delivery.yaml:31", baseline="unchanged")
    gone = finding("hf.sibilance-or-cymbals-too-strong", "fail", message="The share is 40.0 %, above 30.0 %")
    number = finding(
        "delivery.number-or-isrc", "warn", limit=None, margin=None, measured="number 4", sources=(),
        message="track 4 stands where number 3 is due", baseline="unchanged",
        at={"side": "A", "track": 2, "field": "tracks.1.number", "line": 12},
    )  # fmt: skip
    results = [
        result("groove.cut-too-deep", "fail", finding("groove.cut-too-deep", "fail", baseline="new"),
               finding("groove.cut-too-deep", "warn", baseline="unchanged",
                       at={"side": "A", "start_s": 80.0, "line": 9}), findings_omitted=3),
        result("groove.drive-too-high", "warn", finding("groove.drive-too-high", "warn", baseline="unchanged",
                                                        sources=("house: desk notes",))),
        result("groove.slope-too-steep", "pass", measured={"groove.lateral_slope_peak": Quantity(value=0.5, unit="1")}),
        result("groove.level-above-recommended", "not_applicable", reason="no cut level is requested"),
        result("layout.lead-out-room", "not_measured", reason="the last diameter was not measured"),
        result("level.clipped", "waived", waived),
        result("house.broken", "error", reason="ValueError: it broke"),
        result("house.lost", "error", reason="the check is not there; a plugin did not load"),
        result("delivery.number-or-isrc", "warn", number, side=None),
    ]  # fmt: skip
    failures = (
        PluginFailure(plugin="house", stage="house.broken", message="ValueError: it broke", side="A"),
        PluginFailure(plugin="other", stage="load", message="ImportError: gone"),
    )
    baseline = BaselineFacts(
        file="last.json", tool="sidegate 0.1.0", ruleset="disc-12in-33@1.0.0", delivery_sha256="00" * 32, new=1,
        unchanged=4, gone=(gone,),
    )  # fmt: skip
    given = {
        "verdict": "error",
        "waivers": (WAIVER,),
        "plugin_failures": failures,
        "baseline": baseline,
        "run": RUN,
        **more,
    }
    return report([side()], results, **given)


def hostile(title):
    """A report in which everything that others write is a title that is out for something."""
    words = {"message": f"the inscription {title!r} is {title}", "remedy": title, "limit": None, "margin": None}
    found = [
        finding("delivery.papers-disagree", "fail", measured=title, **words),
        finding("level.clipped", "fail", waived_by="w", **words),
        finding("groove.drive-too-high", "warn", measured=title, **words),
        finding("groove.cut-too-deep", "fail", remedies=(Remedy(kind="cut", says=title),)),
    ]
    return report(
        [side(title[:40], title, file=title[:60] + ".wav", files=(TrackFile(track=1, file=title, start_s=1.5),))],
        [result(one.check, "waived" if one.waived_by else one.severity, one, side=title[:40], reason=title)
         for one in found] + [result("house.x", "not_measured", reason=title, side=title[:40]),
                              result("house.y", "error", reason=title, side=None)],
        title=title, file=title[:60], verdict="fail",
        waivers=(WaiverFacts(key="w", check="level.clipped", reason=title, owner=title, state="used", findings=1),),
        plugin_failures=(PluginFailure(plugin="p", stage="load", message=title),),
    )  # fmt: skip


def beside(**more):
    """What formats have beside a report: the words of the shipped checks, the sources."""
    words = {check.id: CheckWords.of(check) for check in qc_standard.qc_checks()}
    return Evidence(words=words, sources=Sources([qc_rulesets()]), **more)


def traced(one, sectors=300):
    """Evidence with traces of a side of a report, every value another one; no drive at the ends."""
    from qc.groove.figures.curves import COLUMNS

    draw = np.random.default_rng(7)
    traces = {name: draw.normal(size=sectors) * 10.0 ** draw.integers(-9, 9) for name in COLUMNS.values()}
    traces["groove.drive_10s"][:20] = np.nan
    return beside(traces={side.id: traces for side in one.sides})


def written(renderer, one, evidence=None):
    """Write a report: the bytes."""
    out = io.BytesIO()
    renderer.render(one, evidence or beside(), out)
    return out.getvalue()
