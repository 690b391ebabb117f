"""Load the waivers of a delivery and of a waiver file, and check that they fit the delivery and the checks."""

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
from qc.plugin_base import Check
from qc.text.sanitize import shown
from qc.text.suggest import meant, nearest

Length = Callable[[str], float | None]
"""Side id -> length of its audio in s, None where it is unknown."""


@dataclass(frozen=True)
class _WrittenWaiver:
    """A waiver as written, with its file and place there."""

    waiver: Written
    side: str | None
    yaml_source: YamlSource
    file: str
    loc: Loc
    given_in: GivenIn

    def fail(self, sentence: str, *part: str | int) -> NoReturn:
        """Raise DeliveryError about a key of the waiver."""
        raise DeliveryError(f"{self.yaml_source.at((*self.loc, *part))}: {sentence}")


def load_waivers(
    read: ReadDelivery, file: Path | None, today: date | None, checks: Mapping[str, type[Check[Any]]], length: Length,
    *, lost: Collection[str] = (), sides: Collection[str] = (), own_only: bool = False,
) -> Waivers:  # fmt: skip
    """Load the waivers of a delivery and of a file; each must fit a check, a side, its tracks and its length.

    `checks` are the installed ones by id, `lost` the ids of checks whose plugin did not load. Waivers of sides that are
    not among `sides`, where any are named, are checked and left out; with `own_only` only those of `file` count. Raises
    DeliveryError, "FILE:LINE: ...", and UsageError where waivers expire and no day is given.
    """
    found: list[ResolvedWaiver] = []
    for entry in _written_waivers(read, file):
        _fits_the_checks(entry, checks, lost)
        _fits_the_sides(entry, read.delivery.sides)
        _fits_the_time(entry, read.delivery.sides, length)
        if not sides or entry.side is None or entry.side in sides:
            found.append(_waiver(entry, {waiver.key for waiver in found}))
    if today is None and any(waiver.expires for waiver in found):
        raise UsageError("there are waivers that expire, and today's date is not known; set Options.today")
    return Waivers(found, today, own_only=own_only)


def _written_waivers(read: ReadDelivery, file: Path | None) -> Iterator[_WrittenWaiver]:
    for i, side in enumerate(read.delivery.sides):
        for j, waiver in enumerate(side.waivers):
            yield _WrittenWaiver(
                waiver, side.id, read.yaml_source, read.file.name, ("sides", i, "waivers", j), "delivery"
            )
    if file is not None:
        more, yaml_source = read_waivers(file)
        for j, sided in enumerate(more.waivers):
            yield _WrittenWaiver(sided, sided.side, yaml_source, file.name, ("waivers", j), "file")


def _waiver(entry: _WrittenWaiver, taken: Collection[str]) -> ResolvedWaiver:
    written, line = entry.waiver, entry.yaml_source.line(entry.loc)
    key = f"{entry.file}:{line}"
    if key in taken:  # several waivers on one line
        key = next(more for n in range(2, len(taken) + 3) if (more := f"{key}/{n}") not in taken)
    return ResolvedWaiver(
        key=key, check=written.check, owner=written.owner, reason=written.reason, side=entry.side,
        tracks=frozenset(written.tracks), start_s=None if written.from_ is None else float(written.from_),
        end_s=None if written.to is None else float(written.to), expires=written.expires,
        given_in=entry.given_in,
    )  # fmt: skip


def _fits_the_checks(entry: _WrittenWaiver, checks: Mapping[str, type[Check[Any]]], lost: Collection[str]) -> None:
    check_id = entry.waiver.check
    if check_id in lost:
        return
    check = checks.get(check_id)
    if check is None:
        if nearest(check_id, checks) is None:
            return  # a waiver for a check of another house covers nothing here, which the report states
        entry.fail(f'no check is called "{shown(check_id)}"; {meant(check_id, checks)}', "check")
    if not check.waivable:
        mend = "no other result means anything before that is fixed; take the waiver out"
        entry.fail(f'what "{check_id}" finds cannot be waived, for {mend}', "check")
    if check.scope == "delivery" and entry.side is not None:
        mend = "waive it in a file given by --waivers, without a side"
        entry.fail(f'"{check_id}" judges the sides together, and this waiver is for side {entry.side}; {mend}', "check")


def _fits_the_sides(entry: _WrittenWaiver, sides: Sequence[Side]) -> None:
    ids = [side.id for side in sides]
    if entry.side is not None and entry.side not in ids:
        entry.fail(f'the delivery has no side "{shown(entry.side)}"; {meant(entry.side, ids)}', "side")
    there = {track.number for side in sides if entry.side in {None, side.id} for track in side.tracks}
    missing = [j for j, number in enumerate(entry.waiver.tracks) if number not in there]
    if not missing:
        return
    number = entry.waiver.tracks[missing[0]]
    what = f"no side has a track {number}" if entry.side is None else f"side {entry.side} has no track {number}"
    hint = f"known are {', '.join(map(str, sorted(there)))}" if there else 'leave "tracks" out, none is declared'
    entry.fail(f"{what}; {hint}", "tracks", missing[0])


def _fits_the_time(entry: _WrittenWaiver, sides: Sequence[Side], length: Length) -> None:
    """Reject times after the end of the audio; a waiver for all sides is compared with the longest one."""
    times = {"from": entry.waiver.from_, "to": entry.waiver.to}
    if not any(times.values()):
        return
    ends = [length(side.id) for side in sides if entry.side in {None, side.id}]
    measured = [end for end in ends if end is not None]
    if len(measured) < len(ends):  # the audio is at fault, which its own check reports
        return
    for key, second in times.items():
        if second is not None and float(second) > max(measured) + ROUNDED_S:
            where = "the longest side" if entry.side is None else f"side {entry.side}"
            entry.fail(
                f'"{key}" is {clock(float(second))}, and {where} ends at {clock(max(measured))}; correct it', key
            )
