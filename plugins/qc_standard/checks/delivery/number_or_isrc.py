"""Track numbers, recording codes, and a title that was never filled in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

from qc.plugin_api import At, Check, CheckContext, Finding, ForClient, Model, NotApplicableError, Scope

_ISRC = re.compile(r"[A-Z]{2}(-?)[A-Z0-9]{3}\1[0-9]{2}\1[0-9]{5}", re.IGNORECASE | re.ASCII)
OUTERMOST = {"a", "1"}
"""Ids of a first side."""
PLACEHOLDER = "Untitled"
"""Title of a record in a draft of `sidegate init`, to be filled in."""


class NumberOrIsrcLimits(Model):
    """No limits: numbers are consecutive or not, a code is well formed or not."""


@dataclass(frozen=True, slots=True)
class _Entry:
    """A track's number and recording code, with its side and its index there."""

    ctx: CheckContext
    index: int
    number: int
    isrc: str | None


class NumberOrIsrc(Check[NumberOrIsrcLimits]):
    """Track numbers do not count on, recording codes are malformed or given twice, or the record has no title yet."""

    id = "delivery.number-or-isrc"
    title = "Track numbers, recording codes or the title are wrong"
    why = (
        "A number that is left out often means a track that is missing. Codes are what plays are paid by, and one that "
        "is malformed or belongs to another recording pays nobody. A title that is only a placeholder gets onto labels."
    )
    how = (
        "Numbers must count on from 1 over the whole delivery, over each disc of two sides, or on each side. Codes "
        "must be written CC-XXX-YY-NNNNN as ISO 3901 has them, with or without hyphens, each once in the "
        f'delivery. The title of the record must not be "{PLACEHOLDER}", with which a draft begins.'
    )
    remedy = "Correct the number, the code or the title in the delivery, or ask for the track that is missing."
    client = ForClient(
        name="Track numbers, recording codes or the title",
        means=(
            "A number that is left out often means that a track went missing on the way. The recording code of a "
            "track, its ISRC, is how plays of it are counted and paid. A record without a title cannot get its label."
        ),
        asks="Please check what is noted here, and send us the right numbers, codes or title, or the missing track.",
    )
    blind_to = "A code that is well formed and belongs to another recording."
    scope: ClassVar[Scope] = "delivery"
    Limits = NumberOrIsrcLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge title, numbers and codes; raises NotApplicableError where there is neither a track nor a fault."""
        untitled = list(_title(ctx))
        yield from untitled
        sides = [side for side in (_entries(ctx.of(source)) for source in ctx.sources) if side]
        if not sides and untitled:
            return
        if not sides:
            raise NotApplicableError("no tracks are declared")
        yield from _numbers(sides, begins="part" not in ctx.delivery)
        yield from _codes([entry for side in sides for entry in side])


def _title(ctx: CheckContext) -> Iterator[Finding]:
    if str(ctx.delivery.get("title", "")).strip().casefold() == PLACEHOLDER.casefold():
        message = "the title of the record is still the placeholder of a draft"
        yield ctx.found("warn", message, measured=PLACEHOLDER, field=("title",))


def _entries(ctx: CheckContext) -> list[_Entry]:
    return [
        _Entry(ctx, i, int(track["number"]), track.get("isrc"))
        for i, track in enumerate(ctx.declared.get("tracks", ()))
    ]


def _numbers(sides: Sequence[list[_Entry]], *, begins: bool) -> Iterator[Finding]:
    """Report the breaks of the numbering scheme with the fewest; each of the three schemes is valid."""
    first = sides[0][0]
    # A second volume, or the second disc sent by itself, counts on from what went before.
    start = 1 if begins and first.ctx.side.casefold() in OUTERMOST else first.number
    discs = [[entry for side in sides[i : i + 2] for entry in side] for i in range(0, len(sides), 2)]
    over_all = _breaks([entry for side in sides for entry in side], start)
    by_disc = [broken for disc in discs for broken in _breaks(disc, 1)]
    by_side = [broken for side in sides for broken in _breaks(side, 1)]
    for entry, expected in min((over_all, by_disc, by_side), key=len):
        yield entry.ctx.found(
            "warn",
            f"track {entry.number} stands where number {expected} is due",
            measured=f"number {entry.number}",
            at=At(track=entry.number),
            field=("tracks", entry.index, "number"),
        )


def _breaks(entries: Sequence[_Entry], start: int) -> list[tuple[_Entry, int]]:
    """Return each track whose number does not follow the previous one, with the expected number."""
    broken, due = [], start
    for entry in entries:
        if entry.number != due:
            broken.append((entry, due))
        due = entry.number + 1
    return broken


def _codes(entries: Sequence[_Entry]) -> Iterator[Finding]:
    first_with: dict[str, _Entry] = {}
    for entry in entries:
        if entry.isrc is None:
            continue
        code = entry.isrc.replace("-", "").upper()
        twin = first_with.setdefault(code, entry)
        if not _ISRC.fullmatch(entry.isrc):
            yield _wrong(entry, f'"{entry.isrc}" is no recording code; one is written CC-XXX-YY-NNNNN')
        elif twin is not entry:
            where = f"track {twin.number} of side {twin.ctx.side}"
            yield _wrong(entry, f"the recording code {entry.isrc} is given twice, here and for {where}")


def _wrong(entry: _Entry, message: str) -> Finding:
    return entry.ctx.found(
        "fail", message, measured=str(entry.isrc), at=At(track=entry.number), field=("tracks", entry.index, "isrc")
    )
