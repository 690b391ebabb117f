"""The cutting sheet: what stands on it, nothing of others' making steers it, and a side is one page."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import ClassVar

import pytest

from qc.report.json import Json
from qc.report.sheet.passages import pages
from qc.report.sheet.renderer import Sheet

HOSTILE = "<script>alert(1)</script> | **bold** _it_ [x](http://x) `code` &amp; # $x$ \x1b[2J\nnext <b>"


@pytest.fixture(params=["md", "html"])
def sheet(request, written):
    return lambda report: written(Sheet(html=request.param == "html"), report)


def plain(text):
    """What a reader sees of either form."""
    import html

    text = re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]*>|\||\\", " ", text)).split())


def test_the_suffix_tells_the_form():
    assert not Sheet.for_path(None).html
    assert not Sheet.for_path(Path("sheet.md")).html
    assert Sheet.for_path(Path("sheet.HTML")).html
    assert Sheet.for_path(Path("sheet.htm")).html


def test_a_format_does_not_have_to_care_for_its_place():
    assert isinstance(Json.for_path(Path("report.txt")), Json)


def test_what_stands_on_it(report, sheet):
    text = plain(sheet(report))
    for words in (
        "QH-001 Quiet Harbour, side A", "QH-001 Quiet Harbour, side B", "Engrave QH-001 A",
        "12in at 33 1/3; recorded from 292.6 mm, finishing groove at 106.4 mm",
        "at 0 dB, 1 kHz alike in both channels at -18 dBFS peak cuts 5 cm/s peak, lateral",
        "polarity not fixed, the worse one counts", "width 56 um, land 13 um, depth variable to 75 um",
        "judged at +4.0 dB as requested; recommended -4.6 dB, limited by groove.drive-too-high/in_1s; clean -10.6 dB",
        "Disc A/B release at -4.6 dB, set by side B; this side is cut lower by 6.7 dB", "no lower than its own level",
        "groove from 0:01.493 at 292.6 mm; the file begins with 1.50 s of silence",
        "groove ends at 1:23.507 at 268.0 mm; room for 12.6 turns at 6.4 mm",
        "do not cut before it is fixed: fix groove.drive-too-high",
        "Prepared bass-mono, de-essed", "Source tape, 1/4 in two-track, IEC1, 38 cm/s, generation 1",
        "Approved M. Reed on 2026-03-02, at 0.0 dB: as the reference lacquer",
        "Judged by disc-12in-33@",
    ):  # fmt: skip
        assert words in text
    for caution in report.cautions:
        assert text.count(caution) == len(report.sides)


def test_tracks_have_time_radius_and_diameter(report):
    for side, page in zip(report.sides, pages(report), strict=True):
        tracks, _ = page.tables
        assert len(tracks.rows) == len(side.geometry.tracks)
        for track, row in zip(side.geometry.tracks, tracks.rows, strict=True):
            assert row[:2] == (str(track.number), track.title)
            assert [float(cell) for cell in row[4:6]] == pytest.approx(
                [track.start_radius_mm, 2 * track.start_radius_mm], abs=0.051
            )
            assert float(row[7]) == pytest.approx(2 * track.end_radius_mm, abs=0.051)


def test_passages_are_in_the_order_in_which_they_pass(report):
    passages = pages(report)[1].tables[-1]
    seconds = [row[0] for row in passages.rows]
    assert seconds == ["0:06.133", "0:33.827", "0:59.773", "1:16.067"]
    second, track, radius, word, why = passages.rows[0]
    assert (second, track, radius, word) == ("0:06.133", "1", "145.7", "fail")
    assert "least top width is 5.2 um, below 25.4 um" in why


def hostile(report):
    side = report.sides[1]
    tracks = tuple(track.model_copy(update={"title": HOSTILE}) for track in side.geometry.tracks)
    approvals = [{"by": HOSTILE, "on": "2026-01-01", "note": HOSTILE}]
    said = {"inscription": HOSTILE, "prepared": [HOSTILE], "source": {"medium": HOSTILE, "approvals": approvals}}
    changed = {"geometry": side.geometry.model_copy(update={"tracks": tracks}), "declared": said}
    delivery = report.delivery.model_copy(update={"title": HOSTILE})
    return report.model_copy(update={"delivery": delivery, "sides": (report.sides[0], side.model_copy(update=changed))})


class Tags(HTMLParser):
    """Collects the tags, and what is no element of the sheet."""

    KNOWN: ClassVar = {
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "article",
        "h1",
        "table",
        "caption",
        "thead",
        "tbody",
    }
    KNOWN |= {"tr", "th", "td", "p", "ul", "li"}

    def __init__(self):
        super().__init__()
        self.seen, self.open = [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        assert tag in self.KNOWN
        assert {name for name, _ in attrs} <= {"lang", "charset", "scope", "class"}
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_nothing_steers_the_html(report, written):
    text = written(Sheet(html=True), hostile(report))
    tags = Tags()
    tags.feed(text)
    tags.close()
    assert tags.open == []
    assert tags.seen.count("article") == len(report.sides)
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert "\x1b" not in text


def test_nothing_steers_the_markdown(report, written):
    text = written(Sheet(), hostile(report))
    assert "\x1b" not in text
    assert not re.search(r"(?<!\\)[<>`$&~]", text)
    assert not re.search(r"(?<!\\)\[|(?<!\\)\*\*bold", text)
    for line in text.splitlines():
        if line.startswith("| ") and " Engrave " in line:
            assert len(re.findall(r"(?<!\\)\|", line)) == 3
    assert len(re.findall(r"^# ", text, flags=re.MULTILINE)) == len(report.sides)


def crowded(report):
    """The second side with twelve tracks and a hundred passages."""
    side = report.sides[1]
    one = side.geometry.tracks[0]
    tracks = tuple(one.model_copy(update={"number": n, "start_s": 7.0 * n, "end_s": 7.0 * n + 6.0}) for n in range(12))
    result = next(r for r in report.results if r.side == "B" and r.findings)
    finding = result.findings[0]
    places = [finding.location.model_copy(update={"start_s": 0.8 * n, "end_s": 0.8 * n + 0.01}) for n in range(100)]
    measured = finding.measured.model_copy(update={"at": None})
    many = tuple(finding.model_copy(update={"location": place, "measured": measured}) for place in places)
    changed = {"geometry": side.geometry.model_copy(update={"tracks": tracks})}
    return report.model_copy(
        update={
            "sides": (report.sides[0], side.model_copy(update=changed)),
            "results": (result.model_copy(update={"findings": many}), *report.results),
        }
    )


def test_a_side_is_one_page(report, written):
    for one in (report, crowded(report)):
        sides = written(Sheet(), one).split("\n---\n\n")
        assert len(sides) == len(report.sides)
        assert all(side.count("\n") < 60 for side in sides)
    assert "more in the report" in written(Sheet(), crowded(report))


def test_a_page_break_stands_between_sides(report, written):
    text = written(Sheet(html=True), report)
    assert "break-after: page" in text
    assert "article:last-of-type { break-after: auto }" in text


def test_a_side_that_was_not_measured(report, sheet):
    side = report.sides[0].model_copy(update={"geometry": None, "levels": None, "measurements": {}})
    text = plain(sheet(report.model_copy(update={"sides": (side,), "discs": ()})))
    assert "the side was not measured; do not cut it" in text
