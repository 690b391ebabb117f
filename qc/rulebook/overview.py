"""The pages over all checks: the index by area, every limit, every value of the chain."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from qc.rulebook.book import CHAIN, INDEX, LIMITS, MEASUREMENTS, SOURCES, TITLES, Book, by_area, link_check
from qc.rulebook.markdown import bullets, code, heading, link, page, paragraph, table, text
from qc.rulebook.words import HEARD, may_be
from qc.ruleset.load import RawLimit
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.sources import keys_of

T = TypeVar("T")


def index_page(book: Book, beside: Iterable[str]) -> str:
    """Give the index; `beside` are further lines of its list of pages, as Markdown."""
    names = ", ".join(code(one.full_name) for one in book.rulesets)
    areas = by_area(book.host.checks)
    parts = [
        heading(TITLES[INDEX]),
        paragraph(f"What is checked, by which limits, and where each limit comes from, as set by {names}."),
        bullets(
            [
                f"{link('Limits', LIMITS)}: all of them, side by side",
                f"{link('The chain', CHAIN)}: what is assumed from the file to the stylus",
                f"{link('Measurements', MEASUREMENTS)}: every number that is published",
                f"{link('Sources', SOURCES)}: where the values come from, and how far to trust them",
                *beside,
            ]
        ),
    ]
    for area, checks in areas.items():
        rows = [(link_check(check), text(book.host.checks[check].title)) for check in checks]
        parts += [heading(area, 2), table(("Check", "Says"), rows)]
    return page(*parts)


def limits_page(book: Book) -> str:
    """Give every limit, a row each, the rulesets side by side."""
    parts = [
        heading(TITLES[LIMITS]),
        paragraph(
            "Warn and fail of each limit: up to and on the first number a value passes, beyond it warns, beyond the "
            "second it fails; - where there is none. An empty cell: that ruleset does not judge it. The recommended "
            "cut level keeps to the one of the two that sets it."
        ),
    ]
    found = {check: _keys(book, check) for check in sorted(book.host.checks)}
    for area, checks in by_area(check for check, keys in found.items() if keys).items():
        rows = [_limit_row(book, check, key) for check in checks for key in found[check]]
        head = ("Check", "Limit", *_columns(book), "Sets the cut level", "Sources")
        parts += [heading(area, 2), table(head, rows)]
    bare = [link_check(check) for check, keys in found.items() if not keys]
    parts += [heading("Without limits", 2), bullets(bare)] if bare else []
    return page(*parts)


def _keys(book: Book, check: str) -> list[str]:
    return list(dict.fromkeys(key for ruleset in book.rulesets for key in ruleset.limits.get(check, {})))


def _limit_row(book: Book, check: str, key: str) -> tuple[str, ...]:
    limits = [None if check in one.off else one.limits.get(check, {}).get(key) for one in book.rulesets]
    there = [(one.full_name, limit) for one, limit in zip(book.rulesets, limits, strict=True) if limit is not None]
    keys = [source for _, limit in there for source in keys_of(limit.source)]
    return (
        link_check(check), code(key), *("" if limit is None else text(_values(limit)) for limit in limits),
        _said(there, lambda limit: text(limit.sets_level or "no")), book.link_sources(keys),
    )  # fmt: skip


def _values(limit: RawLimit) -> str:
    """Write warn and fail with one unit: "120.65 / 115 mm"."""
    warn, fail = limit.warn or "-", limit.fail or "-"
    number, _, unit = warn.partition(" ")
    return f"{number} / {fail}" if unit and fail.endswith(f" {unit}") else f"{warn} / {fail}"


def _said(there: Sequence[tuple[str, T]], word: Callable[[T], str]) -> str:
    """Say a thing once where all rulesets say it alike, else for each."""
    words = dict.fromkeys(word(one) for _, one in there)
    return next(iter(words)) if len(words) == 1 else ", ".join(f"{word(one)} ({text(name)})" for name, one in there)


def chain_page(book: Book) -> str:
    """Give every value of the chain: what it is and may be, and what each ruleset has."""
    parts = [
        heading(TITLES[CHAIN]),
        paragraph(
            f"What a ruleset assumes of the way from the file to the stylus. {code('--chain KEY=VALUE')} changes one "
            f"value for one run of {code('check')} or {code('plan')}, and the report says so."
        ),
    ]
    for section, keys in by_area(MEANINGS, in_order=True).items():
        head = ("Value", *_columns(book), "Sources")
        parts += [heading(section, 2), table(head, [_value_row(book, key) for key in keys])]
        for key in keys:
            heard = f" {HEARD}" if section == "signal" else ""
            parts += [heading(key, 3), paragraph(f"{text(MEANINGS[key])} May be {text(may_be(key))}.{heard}")]
    return page(*parts)


def _value_row(book: Book, key: str) -> tuple[str, ...]:
    section, _, name = key.partition(".")
    rows = [ruleset.chain_rows[section][name] for ruleset in book.rulesets]
    keys = [source for row in rows for source in keys_of(row["source"])]
    return (book.link_value(key, page=""), *(text(row["value"]) for row in rows), book.link_sources(keys))


def _columns(book: Book) -> tuple[str, ...]:
    return tuple(text(ruleset.full_name) for ruleset in book.rulesets)
