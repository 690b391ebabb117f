"""The committed pages: made from what is there now, whole, and linked to places that there are."""

import posixpath

import pytest

from qc.model.quantity import read
from qc.rulebook.pages import MARK
from qc.rulebook.project.pages import HOOKS, SHIPPED, UNITS
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.sources import keys_of
from support.markdown_page import ROOT, Read

HEADINGS = [
    "What it finds", "Why it matters", "How it is measured", "Limits", "What to do", "What the method cannot see",
    "From which strength it is found", "Sources",
]  # fmt: skip
PLANTED = "From which strength it is found"
"""A heading of those checks whose faults were planted."""


def committed():
    folder = ROOT / SHIPPED
    paths = [*folder.rglob("*"), ROOT / HOOKS, ROOT / UNITS]
    return {
        str(path.relative_to(ROOT).as_posix()): path.read_text(encoding="utf-8") for path in paths if path.is_file()
    }


@pytest.fixture(scope="module")
def pages():
    return {path: Read(text) for path, text in committed().items()}


def test_the_committed_pages_are_those_made_from_the_code(made):
    there = committed()
    stale = sorted(path for path in there.keys() | made.keys() if there.get(path) != made.get(path))
    assert not stale, f"run python -m qc.rulebook and commit what it writes; stale: {', '.join(stale)}"


def test_there_is_a_page_for_every_check_and_none_too_many(book, pages):
    assert {f"{SHIPPED}checks/{check}.md" for check in book.host.checks} == {p for p in pages if "/checks/" in p}


def test_every_page_of_a_check_has_the_same_headings(book, pages):
    for check in book.host.checks:
        left_out = set() if book.host.checks[check].sensitivity else {PLANTED}
        expected = [(1, check), *((2, words) for words in HEADINGS if words not in left_out)]
        assert pages[f"{SHIPPED}checks/{check}.md"].headings == expected


def test_every_check_says_all_that_there_is_to_say(book):
    """Asked of the tool's own checks; the standard plugin is the example that others follow."""
    for check, kind in book.host.checks.items():
        for name in ("title", "why", "how", "remedy", "blind_to", "__doc__"):
            assert (getattr(kind, name) or "").strip(), f"{check} has no {name}"


def test_every_page_of_a_check_has_its_words(book, pages):
    for check, kind in book.host.checks.items():
        words = pages[f"{SHIPPED}checks/{check}.md"].words
        for said in (kind.title, kind.why, kind.how, kind.remedy, kind.blind_to):
            assert " ".join(said.split()) in words


def test_every_limit_and_value_has_a_source_that_is_known(book):
    cited = list(book.cited())
    assert len(cited) > 100
    assert [one for one in cited if one.key not in book.sources] == []
    assert {one.place for one in cited if not one.check} == set(MEANINGS)


def test_every_limit_is_on_the_page_of_its_check_for_every_ruleset(book, pages):
    """The numbers are read back from the page and compared with those of the ruleset, whatever the unit."""
    for ruleset in book.rulesets:
        for check, limits in ruleset.limits.items():
            page = pages[f"{SHIPPED}checks/{check}.md"]
            assert f"{ruleset.name}@{ruleset.version}" in page.words
            rows = [row for table in page.tables for row in table[1:]]
            for key, limit in limits.items():
                wanted = [key, limit.warn or "-", limit.fail or "-", limit.sets_level or "no"]
                assert [*wanted, ", ".join(keys_of(limit.source))] in rows


def test_the_page_of_limits_has_each_of_them_once_with_all_rulesets_side_by_side(book, pages):
    page = pages[f"{SHIPPED}limits.md"]
    rows = {(row[0], row[1]): (table[0], row) for table in page.tables for row in table[1:]}
    assert len(rows) == sum(len(table) - 1 for table in page.tables)
    assert set(rows) == {(c, k) for one in book.rulesets for c, limits in one.limits.items() for k in limits}
    for ruleset in book.rulesets:
        for check, limits in ruleset.limits.items():
            for key, limit in limits.items():
                head, row = rows[check, key]
                warn, _, fail = row[head.index(ruleset.full_name)].partition(" / ")
                assert alike(warn, fail, limit.warn)
                assert alike(fail, warn, limit.fail)


def alike(shown, beside, written):
    """Whether what a cell shows is what is written; two values share a unit, which then stands after the second."""
    if written is None or shown == "-":
        return written is None and shown == "-"
    unit = written.partition(" ")[2] or "1"
    told = shown if " " in shown or unit == "1" else f"{shown} {beside.partition(' ')[2]}"
    return read(told, unit) == read(written, unit)


def test_the_page_of_the_chain_has_every_value_of_every_ruleset(book, pages):
    page = pages[f"{SHIPPED}chain.md"]
    rows = {row[0]: dict(zip(table[0], row, strict=True)) for table in page.tables for row in table[1:]}
    assert set(rows) == set(MEANINGS)
    for key, meaning in MEANINGS.items():
        section, _, name = key.partition(".")
        assert meaning in page.words
        for ruleset in book.rulesets:
            assert rows[key][ruleset.full_name] == ruleset.chain_rows[section][name]["value"]


def test_the_page_of_measurements_has_name_unit_meaning_and_publisher(book, pages):
    page = pages[f"{SHIPPED}measurements.md"]
    assert {words for depth, words in page.headings if depth == 3} == set(book.units)
    for name, unit in book.units.items():
        said = f"{name} {book.meanings[name]} Unit: {'none, a plain number' if unit == '1' else unit} From: "
        assert said.replace("`", "") in page.words


def test_the_page_of_sources_has_title_figure_and_confidence(book, pages):
    page = pages[f"{SHIPPED}sources.md"]
    assert [words for depth, words in page.headings if depth == 2] == list(book.sources)
    for key, source in book.sources.items():
        assert f"{key} {source.title} Figure: {source.figure} Confidence: " in page.words


def test_every_link_leads_somewhere(pages):
    count = 0
    for path, page in pages.items():
        for link in page.links:
            target, _, anchor = link.partition("#")
            place = posixpath.normpath(posixpath.join(posixpath.dirname(path), target)) if target else path
            assert (ROOT / place).is_file(), f"{path} links {link}, and there is no such file"
            assert not anchor or anchor in pages[place].anchors, f"{path} links {link}, and no heading there is that"
            count += 1
    assert count > 300


def test_every_page_is_linked_from_the_index(pages):
    index = pages[f"{SHIPPED}README.md"]
    linked = {posixpath.normpath(posixpath.join(SHIPPED, link.partition("#")[0])) for link in index.links}
    assert set(pages) - {f"{SHIPPED}README.md"} <= linked


def test_no_page_tells_where_or_when_it_was_made(made):
    for path, text in made.items():
        assert str(ROOT) not in text, path
        assert text.startswith(MARK)
        assert text.endswith("\n")
        assert not text.endswith("\n\n")
        assert all(len(line) <= 100 or line.startswith("|") or " " not in line.strip() for line in text.splitlines())
