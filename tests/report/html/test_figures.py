"""Pictures against closed forms: greys of plain grooves, rings that add up, a tip that rests on its walls."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from qc.groove.figures.curves import PITCH, RADIUS, WIDTH
from qc.model.discs import NOMINAL_MM
from qc.model.figures import GrooveTurn, Spectrum, View
from qc.report.html import face, microscope, spectrum, timelines
from qc.report.html.finding_views import finding_views
from qc.report.html.panels import panels
from qc.report.html.side_pictures import draw_side

SVG = "{http://www.w3.org/2000/svg}"


def read(figure):
    return ET.fromstring(figure.standalone)


def plain(sectors=1350, pitch=69.0, width=56.0):
    advance = 1e-3 * pitch / 135
    return {
        RADIUS: 146.3 - advance * np.arange(1, sectors + 1),
        PITCH: np.full(sectors, pitch),
        WIDTH: np.full(sectors, width),
    }


def test_every_picture_stands_by_itself(checked):
    findings = finding_views(checked.report)
    names = set()
    for figure in draw_side(checked.report, 1, checked.evidence, findings).figures:
        root = read(figure)
        assert root.tag == f"{SVG}svg"
        assert float(root.get("width")) == pytest.approx(figure.width, abs=0.01)
        assert root.find(f"{SVG}title").text == figure.title
        names.add(figure.name)
    assert len(names) >= 8


def test_a_plain_turn_leaves_thirteen_of_sixty_nine(checked):
    turns = face.TurnRadii.of(plain(), checked.report.sides[0].geometry)
    assert turns.land == pytest.approx(np.full(10, 13.0 / 69.0))
    assert -np.diff(turns.edges) == pytest.approx(np.full(10, 0.069))


def test_rings_cover_the_recording_and_are_as_grey_as_their_land(checked):
    side, scale = checked.report.sides[0], face.BOX / NOMINAL_MM["12in"]
    rings = next(iter(read(face.face("f", checked.report, side, plain(), [])).iter(f"{SVG}g")))
    (ring, rest) = rings.findall(f"{SVG}circle")
    assert float(ring.get("r")) == pytest.approx(146.3 * scale, abs=0.001)
    assert float(rest.get("r")) == pytest.approx((146.3 - 0.69) * scale, abs=0.001)
    assert rest.get("class") == "disc"
    value = int(ring.get("fill")[1:3], 16) / 255.0
    light = ((value + 0.055) / 1.055) ** 2.4
    assert light == pytest.approx(13.0 / 69.0, abs=1.0 / 64.0)


def test_findings_lie_at_their_radius(checked):
    side, traces = checked.report.sides[0], checked.evidence.traces["A"]
    views = [view for view in finding_views(checked.report) if view.side == "A" and view.second is not None]
    figure = face.face("f", checked.report, side, traces, views)
    centre, scale = face.MARGIN + face.BOX / 2.0, face.BOX / NOMINAL_MM["12in"]
    links = {link.get("href"): link for link in ET.fromstring(figure.markup).iter("a")}
    checked_ones = 0
    for view in views:
        sign = links[f"#{view.anchor}"].find("rect")
        at = getattr(view.measured.finding.measured, "at", None)
        if sign is None or at is None or at.radius_mm is None:
            continue
        x, y = (float(sign.get(name)) + 5.5 for name in "xy")
        assert math.hypot(x - centre, y - centre) / scale == pytest.approx(at.radius_mm, abs=0.2)
        checked_ones += 1
    assert checked_ones


def straight(width, points=401, rate=96_000, speed=0.3):
    edge = np.full(points, width / 2.0)
    turn = GrooveTurn(0, -edge, edge)
    return View(("f",), ("groove.top_width_min",), 1.0, rate, speed, 0.1, "normal", 200, 200, 8e-6, (turn,))


@pytest.mark.parametrize("width", [20.0, 40.0, 60.0])
def test_the_tip_touches_both_walls(width):
    root = read(microscope.section("s", straight(1e-6 * width)))
    tip = next(one for one in root.iter(f"{SVG}circle") if one.get("class") == "tip")
    x, y, radius = (float(tip.get(name)) for name in ("cx", "cy", "r"))
    lacquer = next(one for one in root.iter(f"{SVG}path") if one.get("class") == "lacquer")
    steps = [tuple(map(float, step)) for step in re.findall(r"[ml]?(-?[\d.]+)[ ]?(-?[\d.]+)", lacquer.get("d"))]
    points = np.cumsum(steps, axis=0)
    edge, bottom = points[1], points[2]
    along = (bottom - edge) / np.linalg.norm(bottom - edge)
    away = np.array([x, y]) - edge
    assert abs(along[0] * away[1] - along[1] * away[0]) == pytest.approx(radius, abs=0.15)


def test_a_groove_narrower_than_the_tip_carries_it_on_its_edges():
    um = microscope.SECTION_UM
    root = read(microscope.section("s", straight(8e-6)))
    tip = next(one for one in root.iter(f"{SVG}circle") if one.get("class") == "tip")
    lift = (46.0 - float(tip.get("cy"))) / um
    assert math.hypot(lift, 4.0) == pytest.approx(8.0, abs=0.05)


def test_where_the_cutter_is_out_nothing_is_cut():
    root = read(microscope.above("a", straight(-10e-6)))
    texts = [one.text for one in root.iter(f"{SVG}text")]
    assert "no groove" in texts
    assert float(root.get("height")) > 100.0


def test_a_straight_groove_has_one_bright_and_one_dark_wall():
    root = read(microscope.above("a", straight(56e-6)))
    walls = [int(one.get("fill")[1:3], 16) for one in root.iter(f"{SVG}path") if one.get("class") == "wall"]
    assert len(walls) == 2
    land = int(microscope.LAND[1:3], 16)
    assert min(walls) < land < max(walls)


def test_timelines_show_the_worst_of_each_trace(checked):
    side, traces = checked.report.sides[0], checked.evidence.traces["A"]
    found = panels(checked.report, traces, checked.evidence.curves["A"], side.geometry.span_start_s)
    depth = next(panel for panel in found if panel.title == "Depth of the groove")
    assert depth.low < np.nanmin(traces["groove.depth_max"])
    assert depth.high > side.measurements["groove.depth_max"].value
    assert {limit.value for limit in depth.limits} <= {110.0, 127.0}
    data = timelines.data(side, found, finding_views(checked.report))
    packed = next(panel for panel in data["panels"] if panel["title"] == "Depth of the groove")["series"][0]
    assert packed["high"] == np.nanmax(traces["groove.depth_max"])
    assert packed["step"] == pytest.approx(1.0 / 75.0)


def test_round_numbers_on_the_axes():
    assert timelines.ticks(0.0, 1.0) == [0.0, 0.5, 1.0]
    assert timelines.ticks(-41.0, 2.0) == [-40.0, -20.0, 0.0]
    assert timelines.ticks(68.4, 69.6) == [68.5, 69.0, 69.5]


def test_a_tone_of_one_kilohertz_stands_at_one_kilohertz():
    flat = Spectrum(np.array([20.0, 632.4555, 20_000.0]), np.array([-60.0, -60.0, -60.0]), (), 24.0)
    line = next(one for one in read(spectrum.spectrum("s", "A", flat)).iter(f"{SVG}path") if one.get("class") == "one")
    steps = [float(x) for x, _ in re.findall(r"[ml]?(-?[\d.]+)[ ]?(-?[\d.]+)", line.get("d"))]
    assert steps[1] == pytest.approx(steps[2], abs=0.2)  # the middle of three decades
