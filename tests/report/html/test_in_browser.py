"""The page in Debian's Chromium, opened from disk: nothing fails or is fetched, hand and keyboard reach it all."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from urllib.parse import quote

import numpy as np
import pytest

from qc.report.html import microscope
from support.npm import carried

CHROMIUM = shutil.which("chromium")
ARGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
AXE = "axe-core@4.10.3"
SHARP = 8
"""Times as large as it is shown that a picture is rasterised, to be measured."""
WIDE, NARROW = {"width": 1280, "height": 900}, {"width": 390, "height": 844}

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not installed"),
]


@pytest.fixture(scope="session")
def chromium():
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def file(drawn_page, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(drawn_page, encoding="utf-8")
    return path.as_uri()


@pytest.fixture
def opened(chromium, file):
    """Open the page: opened(viewport=..., ...); at the end nothing may have failed or been asked for."""
    contexts, complaints, asked = [], [], []

    def open_page(address=file, **how):
        context = chromium.new_context(**{"viewport": WIDE, "color_scheme": "light", **how})
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []
    assert [url for url in asked if not url.startswith("file:")] == []
    assert len(asked) == len(contexts)


def seen_range(page):
    plane = page.locator(".panels").first
    return float(plane.get_attribute("data-from")), float(plane.get_attribute("data-to"))


def now(page):
    minutes, seconds = page.locator(".where-now").first.inner_text().split(",")[0].split(":")
    return 60.0 * float(minutes) + float(seconds)


def plot(page):
    """Return the box of the first panel, in the middle of the window."""
    panel = page.locator(".panels .plot").first
    panel.evaluate("one => one.scrollIntoView({block: 'center'})")
    return panel.bounding_box()


def until(page, holds):
    """Wait until something holds, at most 5 s; the page's policy allows no function of playwright's own to wait."""
    for _ in range(100):
        if holds():
            return
        page.wait_for_timeout(50)


def test_an_address_that_cannot_be_decoded_leaves_the_scripts_running(opened, file):
    assert opened(f"{file}#%").locator(".panels").count() > 0


def test_it_opens_from_disk_and_draws(opened):
    page = opened()
    assert page.locator(".panels svg .one").count() == 2 * 13
    assert all(len(curve.get_attribute("d")) > 100 for curve in page.locator(".panels svg .one").all())
    assert page.locator("#verdict").is_visible()
    assert not page.locator(".still svg").first.is_visible()


def test_the_cursor_walks_through_all_panels(opened):
    page = opened()
    page.locator(".panels").first.focus()
    before = now(page)
    page.keyboard.press("ArrowRight")
    one = now(page)
    page.keyboard.press("Shift+ArrowRight")
    assert before < one < now(page)
    assert now(page) - one == pytest.approx(25.0 * (one - before), rel=0.2)
    page.keyboard.press("End")
    assert now(page) == pytest.approx(29.5, abs=0.6)
    cursors = page.locator("#side-1 .panel .cursor").evaluate_all("all => all.map((one) => one.getAttribute('d'))")
    assert len(cursors) == 13
    assert len(set(cursors)) == 1


def test_zoom_and_pan_by_keys_buttons_and_hand(opened):
    page = opened()
    page.locator(".panels").first.focus()
    for _ in range(40):
        page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("+")
    page.keyboard.press("+")
    start, end = seen_range(page)
    assert end - start == pytest.approx(30.0 / 4.0, rel=0.05)
    page.keyboard.press("PageUp")
    assert seen_range(page)[0] < start
    page.get_by_role("button", name="Whole side").first.click()
    whole = seen_range(page)
    assert whole[1] - whole[0] > 28.0
    box = plot(page)
    page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 20)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 20, steps=5)
    page.mouse.up()
    start, end = seen_range(page)
    assert end - start == pytest.approx((whole[1] - whole[0]) / 4.0, rel=0.05)
    page.get_by_role("button", name="Zoom out").first.click()
    assert seen_range(page)[1] - seen_range(page)[0] > end - start


def test_the_wheel_with_control_zooms_and_two_clicks_show_all(opened):
    page = opened()
    box, whole = plot(page), seen_range(page)
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 20)
    page.keyboard.down("Control")
    page.mouse.wheel(0, -100)
    page.keyboard.up("Control")
    until(page, lambda: seen_range(page) != whole)
    start, end = seen_range(page)
    assert end - start == pytest.approx(0.8 * (whole[1] - whole[0]), rel=0.01)
    assert (start + end) / 2.0 == pytest.approx(now(page), abs=0.01)
    page.mouse.dblclick(box["x"] + 0.5 * box["width"], box["y"] + 20)
    assert seen_range(page) == whole


def test_a_finger_moves_the_cursor_and_two_fingers_zoom(opened):
    page = opened(viewport=NARROW, has_touch=True)
    box, whole = plot(page), seen_range(page)
    devtools = page.context.new_cdp_session(page)

    def touch(kind, *parts):
        y = box["y"] + 0.5 * box["height"]
        points = [{"x": box["x"] + part * box["width"], "y": y, "id": index} for index, part in enumerate(parts)]
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 0.4)
    assert now(page) == pytest.approx(whole[0] + 0.4 * (whole[1] - whole[0]), abs=0.2)
    touch("touchStart", 0.4, 0.6)
    for spread in (0.15, 0.2, 0.25):
        touch("touchMove", 0.5 - spread, 0.5 + spread)
    touch("touchEnd")
    start, end = seen_range(page)
    assert end - start == pytest.approx(0.4 * (whole[1] - whole[0]), rel=0.05)
    assert (start + end) / 2.0 == pytest.approx((whole[0] + whole[1]) / 2.0, abs=0.5)


def test_the_list_of_places_leads_to_tracks_and_findings(opened, checked):
    page = opened()
    places = page.get_by_label("Go to").first
    track = checked.report.sides[0].geometry.tracks[0]
    places.select_option(label=f"{track.number} {track.title}")
    start, end = seen_range(page)
    assert (start, end) == pytest.approx((track.start_s, track.end_s), abs=0.6)
    offered = places.locator("optgroup[label=Findings] option").all_inner_texts()
    seconds = [60.0 * float(word.split(":")[0]) + float(word.split(":")[1].split()[0]) for word in offered]
    assert seconds == sorted(seconds)
    places.select_option(label=offered[-1])
    assert now(page) == pytest.approx(seconds[-1], abs=0.001)
    assert seen_range(page)[1] - seen_range(page)[0] == pytest.approx(10.0, abs=0.1)
    places.select_option(label="the whole side")
    assert seen_range(page)[1] - seen_range(page)[0] > 28.0


def test_keys_and_buttons_step_from_finding_to_finding(opened):
    page = opened()
    seconds = page.evaluate("JSON.parse(data.textContent).sides[0].findings.map((one) => one.second)")
    seconds = sorted({round(second, 3) for second in seconds})
    page.locator(".panels").first.focus()
    page.keyboard.press("Home")
    ahead = [second for second in seconds if second > now(page) + 0.001]
    page.keyboard.press("n")
    assert now(page) == pytest.approx(ahead[0], abs=0.001)
    page.get_by_role("button", name="Next finding").first.click()
    assert now(page) == pytest.approx(ahead[1], abs=0.001)
    page.get_by_role("button", name="Previous finding").first.click()
    assert now(page) == pytest.approx(ahead[0], abs=0.001)


def test_the_curves_take_the_colours_of_the_page(opened):
    def colour(page):
        return page.locator(".panels .one").first.evaluate("one => getComputedStyle(one).stroke")

    page = opened()
    light = colour(page)
    page.locator("#light").click()
    assert colour(page) != light


def test_no_peak_is_lost_however_narrow_the_window(opened, checked):
    page = opened(viewport=NARROW)
    traces = checked.evidence.traces["A"]["groove.depth_max"]
    head = page.locator("#side-1 .panel-head", has_text="Depth of the groove")
    index = page.locator("#side-1 .panel-head").all_inner_texts().index(head.inner_text())
    curve = page.locator("#side-1 .panel").nth(index).locator(".one")
    top = min(float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", curve.get_attribute("d")))
    panel = page.evaluate(f"JSON.parse(data.textContent).sides[0].panels[{index}]")
    box = page.locator("#side-1 .panel").nth(index).locator(".plot")
    y, height = (float(box.get_attribute(name)) for name in ("y", "height"))
    highest = panel["low"] + (panel["high"] - panel["low"]) * (1.0 - (top - y) / height)
    assert highest == pytest.approx(np.nanmax(traces), abs=0.002 * (panel["high"] - panel["low"]))


def test_values_under_the_cursor_are_those_of_the_traces(opened, checked):
    page = opened()
    traces, start = checked.evidence.traces["A"], checked.report.sides[0].geometry.span_start_s
    page.locator("button.jump").first.click()
    at = int((now(page) - start) * 75.0 + 1e-6)
    told = page.locator("#side-1 .panel-head", has_text="Depth of the groove").locator(".value").inner_text()
    near = traces["groove.depth_max"][max(0, at - 1) : at + 2]
    assert near.min() - 0.06 <= float(told.split()[0]) <= near.max() + 0.6


def test_a_finding_is_shown_in_time(opened):
    page = opened()
    button = page.locator("button.jump").first
    second = float(button.get_attribute("data-second"))
    button.click()
    start, end = seen_range(page)
    assert start <= second <= end
    assert end - start == pytest.approx(10.0, abs=0.1)
    assert now(page) == pytest.approx(second, abs=0.01)


def test_a_sign_leads_to_its_finding(opened):
    page = opened()
    sign = page.locator(".strip .sign").last
    target = sign.get_attribute("href")
    sign.click()
    assert page.evaluate("location.hash") == target
    assert page.locator(target).is_visible()


def test_the_disc_tells_time_and_radius(opened, checked):
    page = opened()
    geometry = checked.report.sides[0].geometry
    svg = page.locator("#side-1 .face")
    svg.scroll_into_view_if_needed()
    box = svg.bounding_box()
    scale = box["width"] / float(svg.get_attribute("viewBox").split()[2])
    centre, mm = json.loads(
        page.evaluate("JSON.stringify([JSON.parse(data.textContent).sides[0].face].map(f => [f.centre, f.scale])[0])")
    )
    radius = geometry.outer_diameter_mm / 2.0 - 0.6
    page.mouse.move(box["x"] + scale * (centre - mm * radius), box["y"] + scale * centre)
    told = page.locator("#side-1 .turner").inner_text()
    assert float(re.search(r"radius ([\d.]+)", told)[1]) == pytest.approx(radius, abs=0.3)
    slider = page.locator("#side-1 .turner")
    slider.focus()
    page.keyboard.press("Home")
    assert "turn 1 of" in slider.inner_text()
    page.keyboard.press("ArrowRight")
    assert slider.get_attribute("aria-valuenow") == "2"


def test_dark_and_light(opened):
    def paper(page):
        return page.evaluate("getComputedStyle(document.body).backgroundColor")

    light, dark = opened(), opened(color_scheme="dark")
    white, black = paper(light), paper(dark)
    assert white != black
    light.locator("#light").click()
    assert paper(light) == black
    dark.locator("#light").click()
    assert paper(dark) == white


def test_it_reads_without_script(opened):
    page = opened(java_script_enabled=False)
    assert page.locator("#verdict .word").inner_text().startswith("FAIL")
    assert page.locator("#f1").is_visible()
    for figure in ("face", "timelines", "microscope", "section", "budget"):
        assert page.locator(f"svg.{figure}").first.is_visible()
    assert page.locator("button:visible").count() == 0


@pytest.mark.parametrize("viewport", [WIDE, NARROW])
def test_nothing_is_wider_than_the_window(opened, viewport):
    page = opened(viewport=viewport)
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]


def test_it_prints_with_the_still_pictures(opened):
    page = opened(color_scheme="dark")
    page.emulate_media(media="print")
    assert page.locator(".still svg").first.is_visible()
    assert not page.locator(".plots").first.is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")


@pytest.fixture(scope="session")
def axe(tmp_path_factory):
    """The accessibility rules, fetched by npm and kept nowhere."""
    return carried(AXE, "axe.min.js", tmp_path_factory.mktemp("axe")).decode()


@pytest.fixture(scope="session")
def one_side(checked, page, tmp_path_factory):
    """A page of one side with one place under the microscope: the rules look at every element there is."""
    report = checked.report.model_copy(update={"sides": checked.report.sides[:1]})
    evidence = replace(checked.evidence, views={"A": checked.evidence.views["A"][:1]})
    path = tmp_path_factory.mktemp("one") / "report.html"
    path.write_text(page(report, evidence), encoding="utf-8")
    return path.as_uri()


@pytest.mark.long
@pytest.mark.parametrize(("scheme", "viewport"), [("light", WIDE), ("dark", NARROW)])
def test_no_serious_accessibility_fault(opened, one_side, axe, scheme, viewport):
    page = opened(one_side, color_scheme=scheme, viewport=viewport)
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    page.evaluate(axe)
    found = page.evaluate("axe.run().then((told) => told.violations)")
    grave = [
        f"{one['id']}: {one['help']}: {one['nodes'][0]['html'][:200]} ({len(one['nodes'])})"
        for one in found
        if one["impact"] in {"serious", "critical"}
    ]
    assert grave == []


def test_the_narrowest_width_is_as_wide_in_pixels_as_in_the_report(chromium, checked):
    """Rasterised eight times as large, in the column of the arrows, which are taken off."""
    findings = {f.fingerprint: f for result in checked.report.results for f in result.findings}
    page = chromium.new_page()
    measured = 0
    for view in checked.evidence.views["A"]:
        if "groove.top_width_min" not in view.measures:
            continue
        svg = microscope.above("one", view).standalone
        svg = re.sub(r'<(path|text) [^>]*class="(mark|bottom)[^"]*"[^>]*>.*?</\1>', "", svg)
        column = microscope.LEFT + microscope.UM * 1e6 * view.speed / view.rate * view.narrowest
        greys = page.evaluate(COLUMN, [f"data:image/svg+xml,{quote(svg)}", column, SHARP])
        cut = [abs(grey - int(microscope.LAND[1:3], 16)) > 2 for grey in greys]
        middle = 1e6 * (view.middle.inner + view.middle.outer)[view.narrowest] / 2.0
        _, high = microscope.reach(view)
        wide = groove(cut, SHARP * microscope.UM * (high - middle)) / SHARP / microscope.UM
        reported = findings[view.findings[view.measures.index("groove.top_width_min")]].measured.value
        assert wide == pytest.approx(reported, rel=0.02)
        measured += 1
    page.close()
    assert measured


COLUMN = """async ([source, column, scale]) => {
  const image = new Image();
  image.src = source;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = image.width * scale;
  canvas.height = image.height * scale;
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0, canvas.width, canvas.height);
  const data = context.getImageData(Math.round(column * scale), 0, 1, canvas.height).data;
  return Array.from({ length: canvas.height }, (_, i) => data[4 * i]);
}"""


def groove(flags, middle):
    """How long the run of what is cut is that lies nearest to a place."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags, [0]]).astype(int)))
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    start, end = min(runs, key=lambda run: abs((run[0] + run[1]) / 2.0 - middle))
    return end - start
