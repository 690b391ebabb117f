"""The page of a check."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from qc.model.parameters import parameter_type, written
from qc.plugin_base import Check
from qc.rulebook.book import Book
from qc.rulebook.markdown import code, text
from qc.rulebook.templates import filled
from qc.rulebook.words import SILENT, finds, side_of, trust
from qc.ruleset.load import RawLimit, Ruleset
from qc.ruleset.sources import keys_of

UP = "../"


class Judging(NamedTuple):
    """The judging of a check in a ruleset."""

    off: str | None
    """the reason, where it is off"""
    rows: tuple[tuple[str, ...], ...] | None
    """a row for each limit; None where the check is not named"""
    parameters: tuple[tuple[str, ...], ...] = ()
    """a row for each parameter"""


def check_page(book: Book, kind: type[Check[Any]]) -> str:
    """Return the page of a check."""
    judged = [
        {
            "name": name,
            "side": side_of(by),
            "measurement": book.link_measurement(by.measure, UP),
            "of": by.of.rstrip(","),
        }
        for name, by in kind.judges.items()
    ]  # fmt: skip
    return filled(
        "check.md", kind=kind, owner=book.host.owner[kind.id], finds=finds(kind), judged=judged,
        parameters=list(_parameters(kind)), limits=list(_limits(book, kind)),
        advises=kind.advise is not Check.advise, cannot_see=kind.blind_to or SILENT,
        sources=list(_sources(book, kind.id)),
    )  # fmt: skip


def _limits(book: Book, kind: type[Check[Any]]) -> Iterator[dict[str, Any]]:
    """Group the rulesets that judge a check alike."""
    groups: dict[Judging, list[str]] = {}
    for ruleset in book.rulesets:
        groups.setdefault(_judging(book, kind, ruleset), []).append(ruleset.full_name)
    for judging, names in groups.items():
        yield {"rulesets": names, "off": judging.off, "rows": judging.rows, "parameters": judging.parameters}


def _judging(book: Book, kind: type[Check[Any]], ruleset: Ruleset) -> Judging:
    if kind.id in ruleset.off:
        return Judging(ruleset.off[kind.id], None)
    if kind.id not in ruleset.limits:
        return Judging(None, None)
    parameters = ruleset.parameters.get(kind.id, {}).items()
    return Judging(
        None,
        tuple((code(key), *_row(book, limit)) for key, limit in ruleset.limits[kind.id].items()),
        tuple((code(key), code(raw.value), book.link_sources(keys_of(raw.source), UP)) for key, raw in parameters),
    )


def _parameters(kind: type[Check[Any]]) -> Iterator[dict[str, str]]:
    """Yield each parameter with what it is and what a ruleset may write for it."""
    for key, info in kind.Limits.model_fields.items():
        if (of := parameter_type(info)) is not None:
            stated = info.is_required() or info.default_factory is not None or info.default is None
            default = "" if stated else f"; {written(info.default)} where a ruleset leaves it out"
            yield {"name": key, "words": f"{info.description} It is {of.words}{default}."}


def _row(book: Book, limit: RawLimit) -> tuple[str, ...]:
    return (
        text(limit.warn or "-"),
        text(limit.fail or "-"),
        text(limit.sets_level or "no"),
        book.link_sources(keys_of(limit.source), UP),
    )


def _sources(book: Book, check: str) -> Iterator[dict[str, Any]]:
    for key in dict.fromkeys(sorted(citation.key for citation in book.cited() if citation.check == check)):
        source = book.sources.get(key)
        words = None if source is None else {"title": source.title, "figure": source.figure, "trust": trust(source)}
        yield {"link": book.link_sources([key], UP), "words": words}
