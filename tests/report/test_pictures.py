"""Pictures as files: all that the page shows, as SVG and as PNG, measured in pixels, harmless whatever it is of."""

from __future__ import annotations

import io
import json
import re
from importlib.util import find_spec

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from qc.cli.writing import outputs, write
from qc.files.atomic_write import OWN
from qc.model.errors import PluginError, UsageError
from qc.plugin_api import Evidence
from qc.plugin_host.host import Host
from qc.report.figures import png as pictures_png
from qc.report.figures.named import SCALE, WIDE, pictures, safe, side_names
from qc.report.figures.renderer import INDEX, ONLY_SVG
from qc.report.html import microscope
from qc.report.html.renderer import Html
from qc.report.html.svg import HEAD, ROOM
from support.png import pixels
from support.reports import HOSTILE, hostile

SVG = "{http://www.w3.org/2000/svg}"
PLAIN = re.compile(r"[a-z0-9][a-z0-9._-]*\.(svg|png)")


def drawn(place, report, evidence):
    """Write the pictures as the command does; gives the bytes of each file by name."""
    (one,) = outputs([f"pictures={place}"], Host.build(())).reports
    write(one, report, evidence)
    return {path.name: path.read_bytes() for path in place.iterdir()}


@pytest.fixture(scope="module")
def files(checked, tmp_path_factory):
    return drawn(tmp_path_factory.mktemp("pictures") / "out", checked.report, checked.evidence)


@pytest.fixture(scope="module")
def rows(files):
    return json.loads(files[INDEX])["pictures"]


@pytest.fixture
def one_side(checked):
    """Fewer pictures, for those who draw them more than once."""
    return checked.report.model_copy(update={"sides": checked.report.sides[:1]}), Evidence(
        traces={"A": checked.evidence.traces["A"]}, views={"A": checked.evidence.views["A"][:1]}
    )


def roots(files):
    return {name: etree.fromstring(held) for name, held in files.items() if name.endswith(".svg")}


def test_every_picture_that_the_page_shows_is_there(checked, files, rows):
    out = io.BytesIO()
    Html().render(checked.report, checked.evidence, out)
    page = out.getvalue().decode("utf-8")
    shown = re.findall(r'<svg class="figure [^>]*><title id="[^"]*">([^<]*)</title>', page)
    assert [row["title"] for row in rows] == shown
    assert len(shown) > 10
    assert set(files) == {INDEX, OWN, *(name for row in rows for name in row["files"])}
    assert all(len(row["files"]) == 2 and PLAIN.fullmatch(name) for row in rows for name in row["files"])
    assert "a-disc.png" in files
    assert "b-timelines.svg" in files


def test_the_index_says_which_finding_a_picture_is_of(checked, rows):
    found = {one.fingerprint: one for result in checked.report.results for one in result.findings}
    for side, views in checked.evidence.views.items():
        above = [row for row in rows if row["side"] == side and row["shows"] == "the groove from above"]
        for row, view in zip(above, views, strict=True):
            told = {one["fingerprint"]: one for one in row["findings"]}
            assert set(told) == set(view.findings)
            assert all(one["message"] == found[key].message for key, one in told.items())
            assert row["findings"][0]["check"] in row["files"][0]
    disc = next(row for row in rows if row["files"][0] == "a-disc.svg")
    assert {one["fingerprint"] for one in disc["findings"]} > set(checked.evidence.views["A"][0].findings)
    assert f"{len(disc['findings'])} findings are marked" in disc["says"]


def test_an_svg_stands_by_itself(files):
    for name, root in roots(files).items():
        text = files[name].decode("utf-8")
        assert root.tag == f"{SVG}svg"
        assert {etree.QName(one).localname for one in root.iter()}.isdisjoint(
            {"script", "a", "image", "use", "foreignObject", "object", "iframe", "set", "animate"}
        )
        assert not [key for one in root.iter() for key in one.attrib if "href" in key or key.startswith("on")]
        assert text.count("url(") == text.count("url(#")
        assert "var(" not in text
        assert "@" not in root.find(f"{SVG}style").text
        targets = {one.get("id") for one in root.iter()}
        assert set(re.findall(r"url\(#([^)]*)\)", text)) <= targets
        first = root.find(f"{SVG}rect")
        left, top, width, height = (float(part) for part in root.get("viewBox").split())
        page = [float(first.get(key)) for key in ("x", "y", "width", "height")]
        assert page == pytest.approx([left, top, width, height])
        assert [float(root.get("width")), float(root.get("height"))] == pytest.approx([width, height])


def test_a_png_is_as_large_as_it_should_be_opaque_and_not_blank(files, rows):
    """The first picture of each kind."""
    kinds = {row["shows"]: row for row in reversed(rows)}
    assert len(kinds) > 3
    for row in kinds.values():
        svg, png = (files[name] for name in row["files"])
        root, seen = etree.fromstring(svg), pixels(png)
        scale = SCALE if "-view-" in row["files"][0] else WIDE
        height, width = seen.shape[:2]
        assert width == pytest.approx(scale * float(root.get("width")), abs=1.0)
        assert height == pytest.approx(scale * float(root.get("height")), abs=1.0)
        assert (seen[1:-1, 1:-1, 3] == 255).all()
        assert (seen[2, 2, :3] == 255).all()
        inside = seen[round(scale * HEAD) :, :, :3].reshape(-1, 3)
        assert np.unique(inside[:: max(1, len(inside) // 100_000)], axis=0).shape[0] > 10
        title = seen[: round(0.6 * scale * HEAD), : width // 2, :3]
        assert title.min() < 60  # words are there


def test_words_are_drawn_without_any_font_of_the_machine(monkeypatch):
    asked = []
    real = __import__("resvg_py").svg_to_bytes
    monkeypatch.setattr("resvg_py.svg_to_bytes", lambda **how: asked.append(how) or real(**how))

    def ink(words, weight=400):
        svg = (
            '<svg xmlns="http://www.w3.org/2000/svg" width="200" height="40">'
            '<rect width="200" height="40" fill="#fff"/>'
            f'<text x="4" y="28" font-size="20" font-weight="{weight}">{words}</text></svg>'
        )
        return int((255 - pixels(pictures_png.png(svg, 2.0))[..., 0].astype(int)).sum())

    assert ink("") == 0
    assert ink("Salt on Glass", 600) > 1.1 * ink("Salt on Glass") > 0
    assert ink("Ångström, ночь") > 0
    assert all(how["skip_system_fonts"] for how in asked)
    ink(HOSTILE[3])
    assert not asked[-1]["skip_system_fonts"]


def test_the_narrowest_width_is_as_wide_in_the_png_as_in_the_report(checked):
    """In the column of the arrows, which are taken off; the pixels at the edges count by how far they are covered."""
    findings = {f.fingerprint: f for result in checked.report.results for f in result.findings}
    measured = 0
    views = checked.evidence.views["A"]
    above = [one for one in pictures(checked.report, checked.evidence) if one.side == "A" and one.name[-5:] == "above"]
    for view, one in zip(views, above, strict=True):
        if "groove.top_width_min" not in view.measures:
            continue
        svg = re.sub(r'<(path|text) [^>]*class="(mark|bottom)[^"]*"[^>]*>.*?</\1>', "", one.figure.framed("x"))
        seen = pixels(pictures_png.png(svg, one.scale))[..., 0].astype(float)
        at = ROOM + microscope.LEFT + microscope.UM * 1e6 * view.speed / view.rate * view.narrowest
        _, high = microscope.reach(view)
        middle = 1e6 * (view.middle.inner + view.middle.outer)[view.narrowest] / 2.0
        place = one.scale * (HEAD + microscope.UM * (high - middle))
        wide = covered(seen[:, int(one.scale * at)], place) / one.scale / microscope.UM
        reported = findings[view.findings[view.measures.index("groove.top_width_min")]].measured.value
        assert wide == pytest.approx(reported, rel=0.02)
        measured += 1
    assert measured


def covered(column, place):
    """How many pixels about a place are no land; one that is both counts by its grey."""
    land = int(microscope.LAND[1:3], 16)
    cut = np.abs(column - land) > 2
    start = end = int(place)
    while cut[start - 1]:
        start -= 1
    while cut[end + 1]:
        end += 1
    parts = [(column[edge] - land) / (column[edge + step] - land) for edge, step in ((start, 1), (end, -1))]
    assert all(0.0 < part <= 1.2 for part in parts)
    return end - start - 1 + sum(min(part, 1.0) for part in parts)


@pytest.mark.parametrize("title", HOSTILE)
def test_titles_that_are_out_for_something_are_words(checked, tmp_path, monkeypatch, title):
    monkeypatch.setattr(pictures_png, "available", lambda: False)
    side = checked.report.sides[0]
    tracks = tuple(track.model_copy(update={"title": title}) for track in side.geometry.tracks)
    report = hostile(title)
    results = [
        result.model_copy(update={"side": title[:40]}) for result in checked.report.results if result.side == "A"
    ]
    side = side.model_copy(update={"id": title[:40], "geometry": side.geometry.model_copy(update={"tracks": tracks})})
    report = report.model_copy(update={"sides": (side,), "results": (*report.results, *results)})
    evidence = Evidence(
        traces={title[:40]: checked.evidence.traces["A"]}, views={title[:40]: checked.evidence.views["A"]}
    )
    files = drawn(tmp_path / "out", report, evidence)
    assert len(files) > 5
    for name, root in roots(files).items():
        assert PLAIN.fullmatch(name)
        assert {etree.QName(one).localname for one in root.iter()}.isdisjoint({"script", "img", "a"})
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069\u2028]", files[name].decode("utf-8"))
    assert json.loads(files[INDEX])["pictures"][0]["side"] == title[:40]


@given(st.lists(st.text(max_size=60), max_size=8, unique=True))
def test_sides_have_names_of_their_own(sides):
    names = side_names(sides)
    assert len(set(names)) == len(sides)
    assert all(re.fullmatch(r"[a-z0-9_]{1,45}", name) and not name.startswith("_") for name in names)


@given(st.text(max_size=200))
def test_a_name_is_safe(text):
    assert re.fullmatch(r"[a-z0-9]([a-z0-9._-]{0,38}[a-z0-9])?", safe(text, "place"))


def test_sides_that_read_alike_are_told_apart():
    assert side_names(["A", "a", "a_2", "../..", "", "b.c", "B C"]) == [
        "a",
        "a_2",
        "a_2_2",
        "side",
        "side_2",
        "b_c",
        "b_c_2",
    ]


def test_two_runs_give_the_same_bytes(one_side, tmp_path):
    first, second = (drawn(tmp_path / name, *one_side) for name in ("one", "two"))
    assert first == second
    assert any(name.endswith(".png") for name in first)


def test_a_folder_that_holds_something_else_is_refused(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError, match=r"it holds mine\.txt, not written by a report before"):
        outputs([f"pictures={tmp_path}"], Host.build(()))


def test_a_picture_that_breaks_leaves_the_older_ones_and_nothing_else(one_side, tmp_path, monkeypatch):
    place, calls = tmp_path / "out", []
    before = drawn(place, *one_side)
    real = pictures_png.png

    def breaks(svg, scale):
        calls.append(svg)
        if len(calls) == 3:
            raise ValueError("no ink")
        return real(svg, scale)

    monkeypatch.setattr(pictures_png, "png", breaks)
    for where in (place, tmp_path / "new"):
        calls.clear()
        with pytest.raises(PluginError, match=r'"pictures" broke: ValueError: no ink .*; nothing was written'):
            drawn(where, *one_side)
    assert {path.name: path.read_bytes() for path in place.iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("missing", [pictures_png.DRAWS, pictures_png.FONT])
def test_without_the_extra_there_are_svg_and_a_sentence_says_how_to_get_png(
    one_side, tmp_path, monkeypatch, capsys, missing
):
    monkeypatch.setattr(pictures_png, "find_spec", lambda name: None if name == missing else find_spec(name))
    files = drawn(tmp_path / "out", *one_side)
    assert {name.rpartition(".")[2] for name in files} == {"svg", "json", OWN[1:]}
    assert all(len(row["files"]) == 1 for row in json.loads(files[INDEX])["pictures"])
    assert capsys.readouterr().err == f"sidegate: {ONLY_SVG}\n"


def test_with_the_extra_nothing_is_said(one_side, tmp_path, capsys):
    drawn(tmp_path / "out", *one_side)
    assert capsys.readouterr().err == ""


def test_a_report_of_which_nothing_can_be_drawn_has_an_index_all_the_same(report, tmp_path):
    bare = report.model_copy(update={"sides": ()})
    assert json.loads(drawn(tmp_path / "out", bare, Evidence())[INDEX])["pictures"] == []
