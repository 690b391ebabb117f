"""The pages to look things up in: every measurement, every source."""

from __future__ import annotations

from typing import Any

from qc.rulebook.book import MEASUREMENTS, OWN_WORDS, SOURCES, TITLES, Book, Citation, by_area, link_check
from qc.rulebook.markdown import code
from qc.rulebook.templates import filled
from qc.rulebook.words import SILENT, judging, publisher, side_of, trust


def measurements_page(book: Book) -> str:
    """Return every published number: name, unit, meaning, who publishes it, and what judges it."""
    areas = [
        {"name": area, "numbers": [_number(book, name) for name in names]}
        for area, names in by_area(book.units).items()
    ]
    return filled("measurements.md", title=TITLES[MEASUREMENTS], areas=areas)


def _number(book: Book, name: str) -> dict[str, Any]:
    judged = [
        {"link": link_check(check), "limit": limit, "side": side_of(by)}
        for check, limit, by in judging(book.host, name)
    ]
    return {
        "name": name, "unit": book.units[name], "meaning": book.meanings.get(name, SILENT),
        "publisher": publisher(book.host, name), "judged": judged,
    }  # fmt: skip


def sources_page(book: Book) -> str:
    """Return every source that rulesets may cite: title, figure, how far to trust it, and what cites it."""
    cited = sorted(set(book.cited()))
    sources = [
        {
            "key": key, "title": source.title, "figure": source.figure, "trust": trust(source),
            "places": _places(book, key, cited),
        }
        for key, source in book.sources.items()
    ]  # fmt: skip
    own = dict.fromkeys(citation.key for citation in cited if citation.key not in book.sources)
    own_words = [{"key": key, "places": _places(book, key, cited)} for key in own]
    return filled("sources.md", title=TITLES[SOURCES], sources=sources, own_title=OWN_WORDS, own_words=own_words)


def _places(book: Book, key: str, cited: list[Citation]) -> list[str]:
    """Link the values of the chain and the checks that cite a source."""
    citations = [citation for citation in cited if citation.key == key]
    values = [book.link_value(citation.place) for citation in citations if not citation.check]
    limits: dict[str, list[str]] = {}
    for citation in citations:
        if citation.check:
            limits.setdefault(citation.check, []).append(code(citation.place))
    return values + [f"{link_check(check)} ({', '.join(places)})" for check, places in limits.items()]
