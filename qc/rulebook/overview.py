"""The pages over all checks: the index by area, every limit, every value of the chain."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from qc.rulebook.book import CHAIN, INDEX, LIMITS, MEASUREMENTS, SOURCES, TITLES, Book, by_area, link_check
from qc.rulebook.markdown import code, text
from qc.rulebook.templates import filled
from qc.rulebook.words import FILTERED, may_be
from qc.ruleset.load import RawLimit
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.sources import keys_of

T = TypeVar("T")


def index_page(book: Book, further: Iterable[str]) -> str:
    """Return the index; `further` are more lines of its list of pages, as Markdown."""
    areas = [
        {"name": area, "rows": [(link_check(check), text(book.host.checks[check].title)) for check in checks]}
        for area, checks in by_area(book.host.checks).items()
    ]
    pages = {"limits": LIMITS, "chain": CHAIN, "measurements": MEASUREMENTS, "sources": SOURCES}
    return filled(
        "index.md", title=TITLES[INDEX], rulesets=[ruleset.full_name for ruleset in book.rulesets], pages=pages,
        further=list(further), areas=areas,
    )  # fmt: skip


def limits_page(book: Book) -> str:
    """Return every limit, a row each, the rulesets side by side."""
    keys = {check: _keys(book, check) for check in sorted(book.host.checks)}
    areas = [
        {"name": area, "rows": [_limit_row(book, check, key) for check in checks for key in keys[check]]}
        for area, checks in by_area(check for check in keys if keys[check]).items()
    ]
    return filled(
        "limits.md", title=TITLES[LIMITS], columns=_columns(book), areas=areas,
        without_limits=[link_check(check) for check in keys if not keys[check]],
    )  # fmt: skip


def _keys(book: Book, check: str) -> list[str]:
    return list(dict.fromkeys(key for ruleset in book.rulesets for key in ruleset.limits.get(check, {})))


def _limit_row(book: Book, check: str, key: str) -> tuple[str, ...]:
    limits = [None if check in ruleset.off else ruleset.limits.get(check, {}).get(key) for ruleset in book.rulesets]
    pairs = zip(book.rulesets, limits, strict=True)
    there = [(ruleset.full_name, limit) for ruleset, limit in pairs if limit is not None]
    sources = [source for _, limit in there for source in keys_of(limit.source)]
    return (
        link_check(check), code(key), *("" if limit is None else text(_values(limit)) for limit in limits),
        _by_ruleset(there, lambda limit: text(limit.sets_level or "no")), book.link_sources(sources),
    )  # fmt: skip


def _values(limit: RawLimit) -> str:
    """Write warn and fail with one unit: "120.65 / 115 mm"."""
    warn, fail = limit.warn or "-", limit.fail or "-"
    number, _, unit = warn.partition(" ")
    return f"{number} / {fail}" if unit and fail.endswith(f" {unit}") else f"{warn} / {fail}"


def _by_ruleset(there: Sequence[tuple[str, T]], word: Callable[[T], str]) -> str:
    """Write a word once where all rulesets have the same, else with the name of each."""
    words = dict.fromkeys(word(limit) for _, limit in there)
    if len(words) == 1:
        return next(iter(words))
    return ", ".join(f"{word(limit)} ({text(name)})" for name, limit in there)


def chain_page(book: Book) -> str:
    """Return every value of the chain: what it is and may be, and what each ruleset has."""
    sections = [
        {
            "name": section,
            "rows": [_value_row(book, key) for key in keys],
            "entries": [{"key": key, "meaning": MEANINGS[key], "may_be": may_be(key)} for key in keys],
        }
        for section, keys in by_area(MEANINGS, in_order=True).items()
    ]
    return filled("chain.md", title=TITLES[CHAIN], columns=_columns(book), sections=sections, another_pass=FILTERED)


def _value_row(book: Book, key: str) -> tuple[str, ...]:
    section, _, name = key.partition(".")
    rows = [ruleset.chain_rows[section][name] for ruleset in book.rulesets]
    sources = [source for row in rows for source in keys_of(row["source"])]
    return (book.link_value(key, page=""), *(text(row["value"]) for row in rows), book.link_sources(sources))


def _columns(book: Book) -> list[str]:
    return [text(ruleset.full_name) for ruleset in book.rulesets]
