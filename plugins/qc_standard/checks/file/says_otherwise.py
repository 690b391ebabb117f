"""The file's own statements about itself, compared with the delivery."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import ClassVar

from qc.plugin_api import (
    AsReceived,
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    ReceivedAudio,
    Scope,
    Severity,
)
from qc_standard.file_words.contradictions import Contradiction, compare
from qc_standard.file_words.declared import ListedRecord, ListedSide
from qc_standard.file_words.starts import starts_otherwise

EXCHANGED = "sides exchanged"


class SaysOtherwiseLimits(Model):
    """No limits: a file and the delivery contradict each other or not."""


class SaysOtherwise(Check[SaysOtherwiseLimits]):
    """The tags or the name of a file contradict the delivery."""

    id = "file.says-otherwise"
    title = "The file says something else than the delivery"
    why = (
        "A file that calls itself side B, carries another catalogue number or the title of another record is often "
        "the wrong file. It sounds as good as the right one, so nothing that is measured shows it."
    )
    how = (
        "What bext, iXML, INFO, Vorbis comments, cue points, ID3 and the file's name say of titles, sides, numbers, "
        "ISRCs and dates, against the delivery. Case, accents, signs and longer forms are the same. Another side fails "
        "with a title or code of that side, or where two files name each other's."
    )
    remedy = "Ask whether this is the right file; if it is, correct the delivery or the file's tags."
    client = ForClient(
        name="A file that describes itself differently",
        means=(
            "Audio files carry small labels inside them, such as a title or a side, and here these do not fit your "
            "documents. Most often the label is old; sometimes it shows that the wrong file was sent."
        ),
        asks="Please make sure that this is the file you meant, and tell us which of the two is right.",
    )
    blind_to = (
        "Files that say nothing of themselves, and those whose tags and name are wrong in the same way as the "
        "delivery. Artists, levels and sample rates in tags are not compared; CUE sheets inside Vorbis comments and "
        "times in free text are not read."
    )
    sensitivity = "It has no strength: a statement contradicts the delivery or does not."
    scope: ClassVar[Scope] = "delivery"
    needs: ClassVar[tuple[type[Need[ReceivedAudio]], ...]] = (AsReceived,)
    Limits = SaysOtherwiseLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare every file of every side; raises NotApplicableError where none says anything."""
        delivery = ctx.delivery
        sides = {source: ListedSide.of(ctx.of(source).declared) for source in ctx.sources}
        series = str(delivery.get("part", {}).get("of", ""))
        record = ListedRecord(
            str(delivery.get("title", "")), str(delivery.get("catalogue", "")), series, tuple(sides.values())
        )
        found: dict[str, list[Contradiction]] = {}
        anything = False
        for source, side in sides.items():
            received = ctx.of(source)[AsReceived]
            found[source] = []
            for tags in received.tags:
                for note in tags.notes:
                    ctx.note(f"{tags.file} {note}")
                spoken = compare(tags, side, record, received.changed)
                starts = starts_otherwise(tags, side)
                found[source] += [*spoken.found, *([starts] if starts else [])]
                anything = anything or spoken.anything
        if not anything:
            raise NotApplicableError("the files say nothing of themselves that can be compared")
        yield from _findings(ctx, sides, found)


def _findings(
    ctx: CheckContext, sides: dict[str, ListedSide], found: dict[str, list[Contradiction]]
) -> Iterator[Finding]:
    """Yield a finding for each contradiction, and one for two sides that name each other."""
    exchanged = dict(_exchanged(sides, found))
    for source, contradictions in found.items():
        for its in contradictions:
            if its.kind == "side" and source in exchanged:
                other = exchanged[source]
                both = replace(its, kind=EXCHANGED, listed=f"{its.listed}, and {other.file} says {other.says}")
                yield _finding(ctx.of(source), both, "fail")
            elif its.kind != "side" or source not in {_source_of(it, sides) for it in exchanged.values()}:
                yield _finding(ctx.of(source), its, _severity(its, contradictions))


def _exchanged(
    sides: dict[str, ListedSide], found: dict[str, list[Contradiction]]
) -> Iterator[tuple[str, Contradiction]]:
    """Yield the first source of each pair of sides whose files name each other's side, and the words of the second."""
    named = {source: [its for its in its_all if its.kind == "side"] for source, its_all in found.items()}
    alone = {source: its[0] for source, its in named.items() if len(its) == 1}
    places = list(sides)
    for source, its in alone.items():
        for other, theirs in alone.items():
            if places.index(other) > places.index(source) and (its.side, theirs.side) == (
                sides[other].number, sides[source].number,
            ):  # fmt: skip
                yield source, theirs


def _source_of(its: Contradiction, sides: dict[str, ListedSide]) -> str:
    """Return the source of the side that a contradiction is about."""
    return next(source for source, side in sides.items() if its.file in {side.file, *(t.file for t in side.tracks)})


def _severity(its: Contradiction, contradictions: Iterable[Contradiction]) -> Severity:
    """Fail a file that names another side where something else in it belongs to that side too."""
    further = any(
        it.kind not in {"side", "disc"} and it.side == its.side for it in contradictions if it.file == its.file
    )
    return "fail" if its.kind == "side" and its.side is not None and further else "warn"


def _finding(ctx: CheckContext, its: Contradiction, severity: Severity) -> Finding:
    message = f"{its.file} says {its.says}; {its.listed}"
    return ctx.found(severity, message, measured=its.kind, at=its.at, field=its.field)
