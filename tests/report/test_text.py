"""The text report: golden pages at three widths, and what holds for any width, detail and title.

`SIDEGATE_GOLDEN=renew` writes the golden pages anew; look at the difference before it goes with a change.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from qc.report.text.report import SCREEN, Text

GOLDEN = Path(__file__).with_name("golden")
DETAILS = ("quiet", "usual", "verbose")
PAGES = [(width, detail) for width in (60, 80, 120) for detail in DETAILS]
HOSTILE = (
    "\u6c34\u306e\u4e0a\u306e\u5149 " * 9,
    "Slack \u202e\u2066Water\u200b \U0001f30a\U0001f9dc\u200d\u2640\ufe0f {title} %s",
    "[bold red]Ropes[/] [link=x]:warning: \\",
    "\x1b[31mred\x1b[0m\r\nmore\ttabs",
    "W" * 500,
    "a\u0301\u0301\u0301 \u00df\u00e6 e\u0301",
)

FIRST = "FAIL: programme fail (1 fail), groove fail (3 fail, 5 warn), paperwork pass"


@pytest.mark.parametrize(("width", "detail"), PAGES)
def test_golden(report, written, width, detail):
    text = written(Text(width=width, detail=detail), report)
    path = GOLDEN / f"{detail}-{width}.txt"
    if os.environ.get("SIDEGATE_GOLDEN") == "renew":
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8"), f"see {path.name}; SIDEGATE_GOLDEN=renew writes it anew"


def titled(report, title):
    """The report with a title wherever somebody else may write one."""
    side = report.sides[0]
    tracks = tuple(track.model_copy(update={"title": title}) for track in side.geometry.tracks)
    result = next(result for result in report.results if result.findings)
    finding = result.findings[0].model_copy(update={"message": title, "remedy": title})
    said = {"inscription": title, "prepared": [title], "source": {"medium": title, "approvals": [{"by": title}]}}
    sides = (
        side.model_copy(
            update={
                "declared": said,
                "geometry": side.geometry.model_copy(update={"tracks": tracks}),
                "audio": side.audio.model_copy(update={"file": title}),
            }
        ),
        *report.sides[1:],
    )
    return report.model_copy(
        update={
            "delivery": report.delivery.model_copy(update={"title": title, "catalogue": title, "notes": title}),
            "sides": sides,
            "results": (result.model_copy(update={"findings": (finding,)}), *report.results),
        }
    )


def assert_fits(text, width):
    for line in text.split("\n"):
        assert cell_len(line) <= width, line
        assert line.isprintable()
        assert line == line.rstrip()


@pytest.mark.parametrize("width", range(60, 201, 7))
@pytest.mark.parametrize("detail", DETAILS)
def test_no_line_is_wider_than_the_page(report, written, width, detail):
    for title in HOSTILE:
        assert_fits(written(Text(width=width, detail=detail), titled(report, title)), width)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    width=st.integers(60, 200), detail=st.sampled_from(DETAILS), ascii_only=st.booleans(), title=st.text(max_size=400)
)
def test_any_title_at_any_width(report, written, width, detail, ascii_only, title):
    text = written(Text(width=width, detail=detail, ascii_only=ascii_only), titled(report, title))
    assert_fits(text, width)
    assert text.isascii() or not ascii_only


@pytest.mark.parametrize("detail", DETAILS)
def test_ascii_alone(report, written, detail):
    assert written(Text(detail=detail, ascii_only=True), report).isascii()
    named = written(
        Text(detail=detail, ascii_only=True), titled(report, "D\u00e9j\u00e0 vu: stra\u00dfe \u2014 \u6c34")
    )
    assert named.isascii()
    assert detail == "quiet" or "Deja vu: strasse ? ?" in named


def test_the_usual_report_is_no_longer_than_a_screen(report, written):
    findings = [finding for result in report.results for finding in result.findings]
    assert len(findings) > 10
    text = written(Text(width=80), report)
    assert text.count("\n") <= SCREEN


def test_the_order_of_the_usual_report(report, written):
    text = written(Text(width=96), report)
    parts = (
        "FAIL: ",
        "QH-001 Quiet Harbour",
        "\nFAIL  ",
        "WARN  ",
        "Side A",
        "Side B",
        "Disc A/B",
        "Passed ",
        "! A cutting",
    )
    places = [text.index(part) for part in parts]
    assert places == sorted(places)
    assert text.index("groove.level-above-recommended") < text.index("groove.drive-too-high")  # by gravity


def test_each_remedy_is_given_once(report, written):
    for detail in ("usual", "verbose"):
        text = " ".join(written(Text(width=120, detail=detail), report).split())
        assert text.count("Agree on the recommended level, shorten the side") == 1
        assert text.count("Cut lower, or take down sustained treble") == (detail == "verbose")
        assert text.count("Take 9.0 dB off 5.6 to 18 kHz") == 1


def test_numbers_stand_beside_the_place_they_are_of(report, written):
    """In short those of the gravest; else each below its own finding, and once what holds for all."""
    usual, verbose = (" ".join(written(Text(width=120, detail=d), report).split()) for d in ("usual", "verbose"))
    assert "Take 2.0 dB" not in usual
    nine, two, for_all = (verbose.index(part) for part in ("Take 9.0 dB", "Take 2.0 dB", "Cut lower, or take down"))
    assert verbose.index("above 400 g") < nine < verbose.index("above 300 g") < two < for_all
    assert "3.2 s examined again for the remedies" in verbose


def test_warnings_of_one_check_are_one_line_with_a_count(report, written):
    lines = written(Text(width=96), report).splitlines()
    (line,) = [line for line in lines if line.startswith("groove.slope-too-steep")]
    assert re.search(r" 3x +B 0:59\.773 +107\.8 cm/s +50/- cm/s", line)


def test_quiet_is_a_line_each(report, written):
    lines = written(Text(width=96, detail="quiet"), report).splitlines()
    fails = [f for result in report.results for f in result.findings if f.severity == "fail"]
    assert lines[0] == FIRST
    assert len(lines) == 1 + len(fails)
    assert lines[1] == "B 1:16.067, track 2, radius 135.0 mm groove.level-above-recommended: +8.6 dB, above +1.0 dB"


def test_verbose_has_everything(report, written):
    text = written(Text(width=120, detail="verbose"), report)
    words = " ".join(text.split())
    for result in report.results:
        assert result.check in words
        for finding in result.findings:
            assert finding.message in words
    for side in report.sides:
        assert all(name in text for name in side.measurements)
        assert f"level limited by {side.levels.ruling}" in text
        for track in side.geometry.tracks:
            line = next(line for line in text.splitlines() if line.startswith(f"{track.number} {track.title}"))
            assert f"{track.start_radius_mm:.2f}" in line
            assert f"{2 * track.end_radius_mm:.2f}" in line
    for name in report.ruleset.limits:
        assert f"  {name.partition('/')[2]} " in text
    assert "approved by M. Reed on 2026-03-02, at 0.0 dB: as the reference lacquer" in words


def test_colour_only_where_it_is_asked_for(report, written):
    assert "\x1b[" not in written(Text(), report)
    coloured = written(Text(colour=True), report)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured).split() == written(Text(), report).split()


def test_a_delivery_that_only_warns_gives_its_remedies(report, written):
    results = tuple(result for result in report.results if result.outcome != "fail")
    text = " ".join(written(Text(width=96), report.model_copy(update={"results": results, "verdict": "warn"})).split())
    assert text.startswith("PASS, with warnings: programme ")
    assert "> Cut lower, soften loud upper middle and treble" in text


def test_a_report_with_nothing_measured(report, written):
    sides = tuple(
        side.model_copy(update={"geometry": None, "levels": None, "measurements": {}}) for side in report.sides
    )
    for detail in DETAILS:
        text = written(Text(detail=detail), report.model_copy(update={"sides": sides, "discs": ()}))
        assert detail == "quiet" or "Side A  not measured; side-a.wav" in text
