"""The page as text: its structure, what others wrote in it, and that it asks for nothing from anywhere.

`SIDEGATE_GOLDEN=renew` writes the golden outline anew; look at the difference before it goes with a change.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import ClassVar

import pytest

from qc.model.report import BaselineFacts, LeftOut, LevelThen, Report, WaiverFacts
from qc.plugin_api import Evidence
from qc.report.views.since import heading, left_out_words

GOLDEN = Path(__file__).with_name("golden") / "outline.txt"
REPORT = Path(__file__).parents[1] / "report.json"
HOSTILE = (
    "<script>alert(1)</script>",
    "</script><img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "\u202egnp.exe\u2066",
    "\u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "\U0001f30a\U0001f9dc\u200d\u2640\ufe0f",
    "\x1b[31mred\x00\x07\u2028",
    "{{ 7 * 7 }} {% raw %} ${x}",
    "W" * 5000,
)


@pytest.fixture
def report():
    return Report.model_validate_json(REPORT.read_bytes())


class Outline(HTMLParser):
    """Elements with ids, classes and text, one a line; styles, scripts and pictures are not looked into."""

    VOID: ClassVar = {"meta", "br", "img", "link", "input"}
    CLOSED: ClassVar = {"style", "script", "svg"}

    def __init__(self):
        super().__init__()
        self.lines, self.open, self.tags, self.attributes = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        if not self.CLOSED & set(self.open):
            named = dict(attrs)
            name = tag + "".join(f"#{named['id']}" for _ in range("id" in named))
            self.lines.append("  " * len(self.open) + name + "".join(f".{c}" for c in named.get("class", "").split()))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"{tag} is closed inside another"

    def handle_data(self, data):
        if data.strip() and not self.CLOSED & set(self.open):
            self.lines.append("  " * len(self.open) + " ".join(data.split()))


def outlined(text):
    outline = Outline()
    outline.feed(text)
    outline.close()
    assert not outline.open
    return outline


def test_golden(report, page):
    text = "\n".join(outlined(page(report)).lines) + "\n"
    if os.environ.get("SIDEGATE_GOLDEN") == "renew":
        GOLDEN.write_text(text, encoding="utf-8")
    assert text == GOLDEN.read_text(encoding="utf-8"), "SIDEGATE_GOLDEN=renew writes it anew"


def test_elements_close_where_they_should_with_pictures_too(drawn_page):
    assert outlined(drawn_page).tags.count("svg") >= 6


def titled(report, title):
    """The report with a title wherever somebody else may write one."""
    side = report.sides[0]
    tracks = tuple(track.model_copy(update={"title": title}) for track in side.geometry.tracks)
    said = {"inscription": title, "prepared": [title], "source": {"medium": title, "approvals": [{"by": title}]}}
    side = side.model_copy(update={
        "audio": side.audio.model_copy(update={"file": title}), "declared": said,
        "geometry": side.geometry.model_copy(update={"tracks": tracks}),
    })  # fmt: skip
    facts = report.delivery.model_copy(update={"title": title, "catalogue": title, "notes": title, "file": title})
    results = tuple(
        result.model_copy(update={
            "findings": tuple(one.model_copy(update={"message": title, "remedy": title}) for one in result.findings)
        })
        for result in report.results
    )  # fmt: skip
    return report.model_copy(update={"delivery": facts, "sides": (side, *report.sides[1:]), "results": results})


@pytest.fixture(scope="module")
def plain(drawn_page):
    return outlined(drawn_page)


@pytest.mark.parametrize("title", HOSTILE)
def test_what_others_wrote_is_shown_and_does_nothing(checked, page, plain, title):
    seen = page(titled(checked.report, title), checked.evidence)
    hostile = outlined(seen)
    assert set(hostile.tags) == set(plain.tags)
    for tag in ("script", "style", "svg", "meta"):
        assert hostile.tags.count(tag) == plain.tags.count(tag)
    assert not [one for one in hostile.attributes if one[1].startswith("on")]
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069\u2028]", seen)


def test_words_that_look_like_a_template_stay_words(report, page):
    assert "{{ 7 * 7 }} {% raw %} ${x}" in page(titled(report, "{{ 7 * 7 }} {% raw %} ${x}"))


def test_letters_of_other_scripts_stay_as_they_are_and_keep_to_themselves(report, page):
    seen = page(titled(report, HOSTILE[4]))
    assert f"<bdi>{HOSTILE[4]}</bdi>" in seen


def test_nothing_is_fetched(drawn_page):
    outline = outlined(drawn_page)
    for tag, name, value in outline.attributes:
        if name in {"src", "href", "action", "data", "poster", "srcset", "xlink:href"}:
            assert value.startswith("#"), (tag, name, value)
    style = "".join(re.findall(r"<style>(.*?)</style>", drawn_page, flags=re.DOTALL))
    assert "url(" not in style
    assert "@import" not in style
    assert set(outline.tags) & {"link", "iframe", "object", "embed"} == set()


def test_only_scripts_of_our_own_may_run(drawn_page):
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', drawn_page)
    policy = policy.replace("&#39;", "'")
    assert policy.startswith("default-src 'none'")
    scripts = re.findall(r"<script>(.*?)</script>", drawn_page, flags=re.DOTALL)
    wanted = {f"'sha256-{base64.b64encode(hashlib.sha256(one.encode()).digest()).decode()}'" for one in scripts}
    (allowed,) = re.findall(r"script-src ([^;]*)", policy)
    assert set(allowed.split()) == wanted
    assert len(wanted) == 5


def test_data_is_whole(drawn_page):
    (text,) = re.findall(r'<script type="application/json" id="data">(.*?)</script>', drawn_page, flags=re.DOTALL)
    data = json.loads(text)
    assert [side["id"] for side in data["sides"]] == ["A", "B"]
    assert {panel["title"] for panel in data["sides"][0]["panels"]} >= {
        "Pitch",
        "Land left between turns",
        "Loudness, 3 s",
    }


def test_without_evidence_there_are_words_and_tables_and_the_budget(report, page):
    seen = page(report, Evidence())
    assert "FAIL" in seen
    assert "class Timelines" not in seen
    assert "The face of the disc" not in seen
    assert "Level budget" in seen


def test_every_finding_is_there_with_its_numbers(report, page):
    seen = outlined(page(report)).lines
    text = " ".join(" ".join(seen).split())
    for result in report.results:
        for finding in result.findings:
            assert finding.message in text.replace(" .", ".")
            assert finding.remedy in text


def test_waived_findings_stay_visible_with_who_answers_for_them(report, page):
    key = "delivery.yaml:31"
    result = next(one for one in report.results if one.findings)
    waived = result.findings[0].model_copy(update={"waived_by": key})
    results = tuple(
        one.model_copy(update={"findings": (waived, *one.findings[1:])}) if one is result else one
        for one in report.results
    )
    waiver = WaiverFacts(
        key=key, check=waived.check, reason="meant so", owner="desk two", expires="2026-12-31", state="used",
        findings=1, given_in="delivery",
    )  # fmt: skip
    seen = page(report.model_copy(update={"results": results, "waivers": (waiver,)}))
    assert "Waived by desk two (delivery.yaml:31 of the delivery): meant so; holds to 2026-12-31." in seen
    assert seen.count('<span class="tag waived">Waived</span>') == 1
    assert "What matters" in seen


def test_a_baseline_marks_what_is_new_and_tells_what_is_gone(report, page):
    result = next(one for one in report.results if one.findings)
    new = result.findings[0].model_copy(update={"baseline": "new"})
    results = tuple(
        one.model_copy(update={"findings": (new, *one.findings[1:])}) if one is result else one
        for one in report.results
    )
    baseline = BaselineFacts(
        file="before.json", tool="sidegate 0.1.0", ruleset="disc-12in-33@1.1.0", delivery_sha256="0" * 64, new=1,
        unchanged=0, gone=(result.findings[0].model_copy(update={"message": "It hummed"}),),
    )  # fmt: skip
    seen = page(report.model_copy(update={"results": results, "baseline": baseline}))
    assert "<b>new</b>" in seen
    assert "1 fixed, 1 new, 0 as before" in seen


def test_what_became_of_an_earlier_report_is_told_in_the_words_of_the_text(report, page):
    found = next(one for one in report.results if one.findings).findings[0]

    def once(where):
        at = found.location.model_copy(update={"line": where})
        return found.model_copy(update={"check": f"house.line-{where}", "location": at})

    old = tuple(
        one.model_copy(update={"findings": tuple(f.model_copy(update={"baseline": "unchanged"}) for f in one.findings)})
        for one in report.results
    )
    baseline = BaselineFacts(
        file="before.json", tool="sidegate 0.1.0", ruleset="disc-12in-33@0.9.0", delivery_sha256="0" * 64, new=0,
        unchanged=7, gone=(once(1),), not_judged=(once(2), once(3)), unsure=(once(4),),
        left_out=(LeftOut(check="level.clipped", side="A", then=1, now=5),),
        other_levels=(LevelThen(side="A", then=0.0, now=-3.0),),
    )  # fmt: skip
    seen = page(report.model_copy(update={"results": old, "baseline": baseline}))
    part = seen[seen.index('<h3 id="since">') :]
    assert heading(baseline) in part
    order = ("Fixed", "house.line-1", "Not judged", "house.line-2", "house.line-3", "Unsure", "house.line-4")
    assert sorted(order, key=part.index) == list(order)
    levels = "side A was judged at +0.0 dB then and is at -3.0 dB now"
    for words in (*left_out_words(baseline), levels, "judged by disc-12in-33@0.9.0, so limits may differ"):
        assert words in part
    assert "<b>as before</b>" in seen
    assert not any(word in seen for word in (" gone", "Gone since", "unchanged"))


def test_a_side_that_was_not_measured_says_so(report, page):
    bare = report.sides[0].model_copy(update={"geometry": None, "levels": None, "measurements": {}})
    seen = page(report.model_copy(update={"sides": (bare, *report.sides[1:])}))
    assert "not measured; do not cut this side" in seen


def test_it_stays_small(drawn_page):
    assert len(drawn_page) < 2 * 2_000_000
