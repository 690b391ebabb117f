"""Tables as columns, Markdown and HTML: one model, nothing in a cell marks anything up."""

from __future__ import annotations

from lxml import html
from markdown_it import MarkdownIt

from qc.text.table import Table, even_markdown, text_columns

HOSTILE = "a | b <i>c</i> `d` **e** \\"
TABLE = Table("Depths", ("track", "um"), (("Salt", "75"), (HOSTILE, "120")), frozenset({1}), note="and 2 more")


def cells(page):
    return [["".join(cell.itertext()) for cell in row] for row in html.fromstring(page).iter("tr")]


def test_markdown_and_html_hold_the_same_cells():
    rendered = MarkdownIt().enable("table").render("\n".join(TABLE.markdown()))
    assert cells(rendered) == cells(f"<div>{TABLE.html()}</div>") == [list(TABLE.head), *map(list, TABLE.rows)]
    assert "and 2 more" in rendered
    assert "and 2 more" in TABLE.html()


def test_numbers_stand_flush_right_in_html():
    marked = html.fromstring(f"<div>{TABLE.html()}</div>").xpath("//*[@class='figure']")
    assert [cell.text for cell in marked] == ["um", "75", "120"]


def test_columns_of_text_begin_in_line():
    lines = text_columns([("PLUGIN", "HOOKS"), ("standard", "qc_checks"), ("x", "")]).splitlines()
    assert lines == ["PLUGIN    HOOKS", "standard  qc_checks", "x"]


def test_even_markdown_keeps_a_bar_in_fixed_type_inside_its_cell():
    page = even_markdown(("name", "what"), [("`a|b`", "text")])
    assert {len(line) for line in page.splitlines()} == {len(page.splitlines()[0])}
    assert cells(MarkdownIt().enable("table").render(page)) == [["name", "what"], ["a|b", "text"]]
