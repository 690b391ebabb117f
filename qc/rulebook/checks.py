"""The page of a check, always with the same headings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from qc.plugin_api import Check
from qc.rulebook.book import Book
from qc.rulebook.markdown import bullets, code, heading, page, paragraph, prose, table, text
from qc.rulebook.words import SILENT, finds, side_of, trust
from qc.ruleset.load import RawLimit, Ruleset
from qc.ruleset.sources import keys_of

SCOPES = {"side": "Each side is judged by itself.", "delivery": "All sides of a delivery are judged together."}
NUMBERS = "A report's own remedy has numbers, from a second look at the audio around the gravest findings."
UP = "../"


def check_page(book: Book, kind: type[Check[Any]]) -> str:
    """Give the page of a check."""
    brought = f"Brought by the plugin {code(book.host.owner[kind.id])}."
    return page(
        heading(kind.id),
        paragraph(f"**{text(kind.title)}.**" if kind.title[-1].isalnum() else f"**{text(kind.title)}**"),
        paragraph(" ".join(filter(None, (SCOPES.get(kind.scope, ""), brought)))),
        heading("What it finds", 2),
        paragraph(prose(finds(kind))),
        heading("Why it matters", 2),
        paragraph(text(kind.why)),
        heading("How it is measured", 2),
        paragraph(text(kind.how)),
        bullets(_held(book, kind)),
        heading("Limits", 2),
        _limits(book, kind),
        heading("What to do", 2),
        paragraph(text(kind.remedy)),
        paragraph(NUMBERS) if kind.advise is not Check.advise else "",
        heading("What the method cannot see", 2),
        paragraph(text(kind.blind_to or SILENT)),
        heading("Sources", 2),
        _sources(book, kind.id),
    )


def _held(book: Book, kind: type[Check[Any]]) -> Iterator[str]:
    for name, judged in kind.judges.items():
        of = f", {text(judged.of.rstrip(','))}" if judged.of else ""
        yield f"{code(name)}: {side_of(judged)} the limit, {book.link_measurement(judged.measure, UP)}{of}"


def _limits(book: Book, kind: type[Check[Any]]) -> str:
    """Give a table for each ruleset; rulesets that say the same share one."""
    told: dict[str, list[Ruleset]] = {}
    for ruleset in book.rulesets:
        told.setdefault(_told(book, kind, ruleset), []).append(ruleset)
    parts = []
    for body, rulesets in told.items():
        parts += [paragraph(f"{', '.join(f'**{text(one.full_name)}**' for one in rulesets)}:"), body]
    return page(*parts)


def _told(book: Book, kind: type[Check[Any]], ruleset: Ruleset) -> str:
    if kind.id in ruleset.off:
        return paragraph(f"It is off: {text(ruleset.off[kind.id])}")
    if kind.id not in ruleset.limits:
        return paragraph("It is not named, and so not judged.")
    limits = ruleset.limits[kind.id]
    if not limits:
        return paragraph("It is judged, and has no limits.")
    rows = [(code(key), *_row(book, limit)) for key, limit in limits.items()]
    return table(("Limit", "Warn", "Fail", "Sets the cut level", "Sources"), rows)


def _row(book: Book, limit: RawLimit) -> tuple[str, ...]:
    return (
        text(limit.warn or "-"),
        text(limit.fail or "-"),
        text(limit.sets_level or "no"),
        book.link_sources(keys_of(limit.source), UP),
    )


def _sources(book: Book, check: str) -> str:
    keys = dict.fromkeys(sorted(one.key for one in book.cited() if one.check == check))
    if not keys:
        return paragraph("No limit, and so no source.")
    return bullets(_source(book, key) for key in keys)


def _source(book: Book, key: str) -> str:
    if key not in book.sources:
        return text(key)
    source = book.sources[key]
    words = f"{text(source.title)}: {text(source.figure)} (confidence: {text(trust(source))})"
    return f"{book.link_sources([key], UP)}: {words}"
