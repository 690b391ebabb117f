"""Titles and names that are out for something are harmless in every format that people or machines read as text."""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from html.parser import HTMLParser

import pytest
from lxml import etree
from markdown_it import MarkdownIt

from qc.report.junit import JUnit
from qc.report.note.renderer import Note
from qc.report.sarif.renderer import Sarif
from qc.report.sheet.renderer import Sheet
from qc.report.text.report import Text
from qc.report.traces.renderer import Traces
from support.reports import HOSTILE, eventful, hostile, traced, written

FORMATS = {
    "text": Text(detail="verbose"),
    "quiet": Text(detail="quiet"),
    "sheet.md": Sheet(),
    "sheet.html": Sheet(html=True),
    "note.md": Note(),
    "note.html": Note(html=True),
    "junit": JUnit(),
    "sarif": Sarif(),
    "csv": Traces(),
}
LONGEST = 250_000
"""Bytes that a report of a handful of findings may have, however long a title is."""


def document(name, title):
    one = hostile(title)
    return written(FORMATS[name], one, traced(one, 5)).decode("utf-8")


class Tags(HTMLParser):
    """The elements and attributes of a page."""

    def __init__(self, page):
        super().__init__()
        self.elements, self.attributes = [], set()
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.elements.append(tag)
        self.attributes |= {(tag, name) for name, _ in attrs}


@pytest.mark.parametrize("title", HOSTILE)
@pytest.mark.parametrize("name", FORMATS)
def test_nothing_steers_the_eye_or_the_terminal(name, title):
    text = document(name, title)
    kinds = {unicodedata.category(char) for char in text if char not in "\r\n"}
    assert not kinds & {"Cc", "Cf", "Cs", "Cn", "Zl", "Zp"}
    assert len(text.encode()) < LONGEST


@pytest.mark.parametrize("title", HOSTILE)
@pytest.mark.parametrize("name", ["sheet.html", "note.html"])
def test_pages_have_their_own_elements_alone(name, title):
    found, plain = Tags(document(name, title)), Tags(document(name, "Plain"))
    assert set(found.elements) == set(plain.elements)
    assert found.attributes == plain.attributes
    assert "script" not in found.elements


@pytest.mark.parametrize("title", HOSTILE)
@pytest.mark.parametrize("name", ["sheet.md", "note.md"])
def test_markdown_renders_to_its_own_elements_alone(name, title):
    """Rendered with HTML let through, tables and strike-through, as a lenient reader does."""
    render = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"]).render
    found, plain = Tags(render(document(name, title))), Tags(render(document(name, "Plain")))
    assert found.elements == plain.elements
    assert found.attributes == plain.attributes


@pytest.mark.parametrize("title", HOSTILE)
def test_machines_read_what_they_read_of_a_plain_title(title):
    def shape(value):
        if isinstance(value, dict):
            return {name: shape(one) for name, one in value.items()}
        return [shape(one) for one in value] if isinstance(value, list) else type(value)

    found, plain = (etree.fromstring(document("junit", one).encode()) for one in (title, "Plain"))
    assert [element.tag for element in found.iter()] == [element.tag for element in plain.iter()]
    found, plain = (json.loads(document("sarif", one)) for one in (title, "Plain"))
    assert shape(found) == shape(plain)
    found, plain = (list(csv.reader(io.StringIO(document("csv", one), newline=""))) for one in (title, "Plain"))
    assert [len(row) for row in found] == [len(row) for row in plain]


@pytest.mark.parametrize("name", FORMATS)
def test_letters_of_every_language_stay_as_they_are(name):
    hebrew, emoji = "\u05e9\u05dc\u05d5\u05dd", "\U0001f30a"
    assert hebrew in document(name, hebrew)
    assert emoji in document(name, emoji)


@pytest.mark.parametrize("name", FORMATS)
def test_the_same_report_gives_the_same_bytes(name):
    one = eventful()
    assert written(FORMATS[name], one, traced(one, 9)) == written(FORMATS[name], one, traced(one, 9))
