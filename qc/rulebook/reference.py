"""The pages to look things up in: every measurement, every source."""

from __future__ import annotations

from collections.abc import Iterator

from qc.rulebook.book import MEASUREMENTS, OWN_WORDS, SOURCES, TITLES, Book, Citation, by_area, link_check
from qc.rulebook.markdown import bullets, code, heading, page, paragraph, text
from qc.rulebook.words import SILENT, judging, publisher, side_of, trust


def measurements_page(book: Book) -> str:
    """Give every published number: name, unit, meaning, who publishes it, and what judges it."""
    parts = [
        heading(TITLES[MEASUREMENTS]),
        paragraph(
            "Every number that reports have under these names; those of the groove at the judged level, and for the "
            "worse polarity. Any of them may be judged."
        ),
    ]
    for area, names in by_area(book.units).items():
        parts.append(heading(area, 2))
        for name in names:
            meaning = paragraph(text(book.meanings.get(name, SILENT)))
            parts += [heading(name, 3), meaning, bullets(_facts(book, name))]
    return page(*parts)


def _facts(book: Book, name: str) -> Iterator[str]:
    unit = book.units[name]
    yield "Unit: none, a plain number" if unit == "1" else f"Unit: {text(unit)}"
    yield f"From: {text(publisher(book.host, name))}"
    judged = [f"{link_check(check)} ({code(limit)}, {side_of(by)})" for check, limit, by in judging(book.host, name)]
    yield f"Judged by: {', '.join(judged) or 'no check; it is told in every report'}"


def sources_page(book: Book) -> str:
    """Give every source that rulesets may cite: title, figure, how far to trust it, and what cites it."""
    cited = sorted(set(book.cited()))
    parts = [
        heading(TITLES[SOURCES]),
        paragraph(
            "Where the values of the rulesets come from, told in our own words, with the figure found there and how "
            "far to trust it."
        ),
    ]
    for key, source in book.sources.items():
        facts = [f"Figure: {text(source.figure)}", f"Confidence: {text(trust(source))}", _cited(book, key, cited)]
        parts += [heading(key, 2), paragraph(text(source.title)), bullets(facts)]
    own = dict.fromkeys(one.key for one in cited if one.key not in book.sources)
    told = [f"{text(key)} - {_cited(book, key, cited)}" for key in own]
    return page(*parts, *([heading(OWN_WORDS, 2), bullets(told)] if told else []))


def _cited(book: Book, key: str, cited: list[Citation]) -> str:
    values = [book.link_value(one.place) for one in cited if one.key == key and not one.check]
    limits: dict[str, list[str]] = {}
    for one in cited:
        if one.key == key and one.check:
            limits.setdefault(one.check, []).append(code(one.place))
    checks = [f"{link_check(check)} ({', '.join(places)})" for check, places in limits.items()]
    return f"Cited by: {', '.join((*values, *checks)) or 'none of the rulesets shown'}"
