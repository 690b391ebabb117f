"""The waivers granted for a delivery, by itself and by a file beside it, held against what is there to be waived."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, NoReturn

from qc.delivery.model import Side
from qc.delivery.model import Waiver as Written
from qc.delivery.reader import ReadDelivery
from qc.delivery.waivers import read_waivers
from qc.files.yaml_source import Loc, YamlSource
from qc.judge.waivers.model import ROUNDED_S, ResolvedWaiver, Waivers
from qc.model.errors import DeliveryError, UsageError
from qc.model.quantity import clock
from qc.model.report import GivenIn
from qc.plugin_api import Check
from qc.text.sanitize import shown
from qc.text.suggest import meant, nearest

Length = Callable[[str], float | None]
"""Side id -> how long its audio is, in s; None where that cannot be told."""


@dataclass(frozen=True)
class _Paper:
    """A waiver as it is written, and where."""

    waiver: Written
    side: str | None
    yaml_source: YamlSource
    file: str
    loc: Loc
    given_in: GivenIn

    def fail(self, sentence: str, *part: str | int) -> NoReturn:
        """Raise DeliveryError about a part of it."""
        raise DeliveryError(f"{self.yaml_source.at((*self.loc, *part))}: {sentence}")


def granted(
    read: ReadDelivery, file: Path | None, today: date | None, checks: Mapping[str, type[Check[Any]]], length: Length,
    *, lost: Collection[str] = (), sides: Collection[str] = (), own_only: bool = False,
) -> Waivers:  # fmt: skip
    """Gather the waivers of a delivery and of a file, and refuse one that fits no check, side, track or time.

    `checks` are those installed by id, `lost` ids of those that went with a plugin; waivers of sides that are not
    among `sides`, where any are named, are checked and left out; with `own_only` only those of `file` count. Raises
    DeliveryError, "FILE:LINE: ...", and UsageError where waivers expire and no day is given.
    """
    found: list[ResolvedWaiver] = []
    for paper in _papers(read, file):
        _fits_the_checks(paper, checks, lost)
        _fits_the_sides(paper, read.delivery.sides)
        _fits_the_time(paper, read.delivery.sides, length)
        if not sides or paper.side is None or paper.side in sides:
            found.append(_waiver(paper, {one.key for one in found}))
    if today is None and any(one.expires for one in found):
        raise UsageError("there are waivers that expire, and nobody says what day it is; say it as Options.today")
    return Waivers(found, today, own_only=own_only)


def _papers(read: ReadDelivery, file: Path | None) -> Iterator[_Paper]:
    for i, side in enumerate(read.delivery.sides):
        for j, waiver in enumerate(side.waivers):
            yield _Paper(waiver, side.id, read.yaml_source, read.file.name, ("sides", i, "waivers", j), "delivery")
    if file is not None:
        more, yaml_source = read_waivers(file)
        for j, sided in enumerate(more.waivers):
            yield _Paper(sided, sided.side, yaml_source, file.name, ("waivers", j), "file")


def _waiver(paper: _Paper, taken: Collection[str]) -> ResolvedWaiver:
    written, line = paper.waiver, paper.yaml_source.line(paper.loc)
    key = f"{paper.file}:{line}"
    if key in taken:  # several on one line
        key = next(more for n in range(2, len(taken) + 3) if (more := f"{key}/{n}") not in taken)
    return ResolvedWaiver(
        key=key, check=written.check, owner=written.owner, reason=written.reason, side=paper.side,
        tracks=frozenset(written.tracks), start_s=None if written.from_ is None else float(written.from_),
        end_s=None if written.to is None else float(written.to), expires=written.expires,
        given_in=paper.given_in,
    )  # fmt: skip


def _fits_the_checks(paper: _Paper, checks: Mapping[str, type[Check[Any]]], lost: Collection[str]) -> None:
    check_id = paper.waiver.check
    if check_id in lost:
        return
    check = checks.get(check_id)
    if check is None:
        if nearest(check_id, checks) is None:
            return  # one of another house's; it covers nothing here, and the report says so
        paper.fail(f'no check is called "{shown(check_id)}"; {meant(check_id, checks)}', "check")
    if not check.waivable:
        mend = "nothing else means anything before that is mended; take the waiver out"
        paper.fail(f'what "{check_id}" finds cannot be waived, for {mend}', "check")
    if check.scope == "delivery" and paper.side is not None:
        mend = "waive it in a file given by --waivers, without a side"
        paper.fail(f'"{check_id}" judges the sides together, and this waiver is for side {paper.side}; {mend}', "check")


def _fits_the_sides(paper: _Paper, sides: Sequence[Side]) -> None:
    ids = [side.id for side in sides]
    if paper.side is not None and paper.side not in ids:
        paper.fail(f'the delivery has no side "{shown(paper.side)}"; {meant(paper.side, ids)}', "side")
    there = {track.number for side in sides if paper.side in {None, side.id} for track in side.tracks}
    missing = [j for j, number in enumerate(paper.waiver.tracks) if number not in there]
    if not missing:
        return
    number = paper.waiver.tracks[missing[0]]
    what = f"no side has a track {number}" if paper.side is None else f"side {paper.side} has no track {number}"
    known = f"known are {', '.join(map(str, sorted(there)))}" if there else 'leave "tracks" out, none is declared'
    paper.fail(f"{what}; {known}", "tracks", missing[0])


def _fits_the_time(paper: _Paper, sides: Sequence[Side], length: Length) -> None:
    """Refuse times behind the end of the audio, of every side where it is for all of them."""
    times = {"from": paper.waiver.from_, "to": paper.waiver.to}
    if not any(times.values()):
        return
    ends = [length(side.id) for side in sides if paper.side in {None, side.id}]
    known = [end for end in ends if end is not None]
    if len(known) < len(ends):  # the audio itself is at fault, which is told elsewhere
        return
    for key, second in times.items():
        if second is not None and float(second) > max(known) + ROUNDED_S:
            where = "the longest side" if paper.side is None else f"side {paper.side}"
            paper.fail(f'"{key}" is {clock(float(second))}, and {where} ends at {clock(max(known))}; correct it', key)
