"""What is written as Markdown says the same to a parser that is not ours."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from jinja2 import UndefinedError

from qc.rulebook.markdown import WIDTH, anchors, bullet, code, heading, paragraph, prose, table, text
from qc.rulebook.templates import filled
from support.markdown_page import PARSER

MARKS = st.sampled_from(
    ["*", "**", "_", "`", "``", "# ", "## x", "- ", "+ ", "1. ", "12) ", "> ", "---", "===", "|", "| - |", "<b>",
     "<!--", "&amp;", "[a](b)", "![", "\\", "~~~", "~~", "```", "a_b", "_a", "$x$", "<", "&",
     "107.95", "http://a.b", "    "]
)  # fmt: skip
WORDS = st.lists(st.one_of(MARKS, st.text("abc xyz.,:;()0123456789", min_size=1, max_size=12)), min_size=1).map(
    " ".join
)
SAID = WORDS.filter(str.strip)


def plain(words):
    return " ".join(words.split())


def shown(marked):
    """Give the kinds of blocks that a parser finds, and the text in them."""
    tokens = PARSER.parse(marked)
    inline = [token for token in tokens if token.type == "inline"]
    assert all(child.type in {"text", "softbreak"} for token in inline for child in token.children), marked
    words = ["".join(" " if c.type == "softbreak" else c.content for c in token.children) for token in inline]
    return [token.type for token in tokens if token.nesting == 1], words


@given(SAID)
@example(" 0.")
@example("---")
def test_a_paragraph_is_a_paragraph_whatever_its_words(words):
    assert shown(paragraph(text(words))) == (["paragraph_open"], [plain(words)])


@given(st.lists(SAID, min_size=1, max_size=4))
@example(["     # ", "--- ---"])
def test_a_list_has_an_item_for_each(items):
    kinds, words = shown("".join(bullet(text(item)) for item in items))
    assert kinds == ["bullet_list_open", *["list_item_open", "paragraph_open"] * len(items)]
    assert words == [plain(item) for item in items]


@given(SAID)
@example("# ")
def test_a_heading_is_its_words(words):
    assert shown(f"## {heading(words)}\n") == (["heading_open"], [plain(words)])


@given(st.lists(st.tuples(WORDS, WORDS), min_size=1, max_size=3))
def test_a_table_has_a_cell_for_each(rows):
    _, words = shown(table(("one", "two"), [tuple(map(text, row)) for row in rows]))
    assert words == ["one", "two", *(plain(cell) for row in rows for cell in row)]


@given(st.text("ab` |*_<", min_size=1).filter(lambda words: words.strip()))
def test_fixed_type_keeps_every_character(words):
    (inline,) = [token for token in PARSER.parse(f"x {code(words)} x") if token.type == "inline"]
    assert [child.content for child in inline.children if child.type == "code_inline"] == [plain(words)]


def test_fixed_type_in_a_table_keeps_a_bar():
    tokens = PARSER.parse(table(("Kind",), [(code("float | None"),)]))
    inline = [child for token in tokens if token.type == "inline" for child in token.children]
    assert [child.content for child in inline if child.type == "code_inline"] == ["float | None"]


@given(st.lists(st.text("abcdefgh", min_size=1, max_size=20), min_size=1, max_size=60).map(" ".join))
def test_lines_are_no_wider_than_a_page(words):
    assert max(map(len, paragraph(text(words)).splitlines())) <= WIDTH
    assert max(map(len, bullet(text(words)).splitlines())) <= WIDTH


def test_names_in_a_docstring_are_in_fixed_type():
    assert prose("the `block[tap]` of a_b, *not* more") == r"the `block[tap]` of a_b, \*not\* more"


def test_what_steers_a_terminal_is_shown_and_not_done():
    assert "\x1b" not in text("red \x1b[31m alert")


def test_empty_lines_in_a_row_become_one_but_in_a_block_of_code(tmp_path):
    (tmp_path / "x.md").write_text("# {{ a }}\n\n\n\nb\n\n```python\nc\n\n\n\nd\n```\n\n\n\n")
    assert filled("x.md", tmp_path, a="A") == "# A\n\nb\n\n```python\nc\n\n\n\nd\n```\n"


def test_a_value_that_a_template_lacks_is_an_error_and_no_gap(tmp_path):
    (tmp_path / "x.md").write_text("{{ missing }}\n")
    with pytest.raises(UndefinedError):
        filled("x.md", tmp_path)


def test_anchors_are_those_of_code_hosting_pages():
    """The rules: small letters, spaces to hyphens, no other punctuation, a number from the second one on."""
    made = anchors(["The chain", "cut.top_width", "C-3", "S13", "s13", "In a house's own words"])
    assert list(made.values()) == ["the-chain", "cuttop_width", "c-3", "s13", "s13-1", "in-a-houses-own-words"]
