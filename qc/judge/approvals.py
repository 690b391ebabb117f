"""Approvals in a delivery's folder or named for a run, compared with what is judged; they change no outcome."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from qc.delivery.approvals import GivenApproval, in_folder, read_approvals
from qc.delivery.reader import ReadDelivery
from qc.model.errors import DeliveryError
from qc.model.report import ApprovalFacts, DespiteFacts, GivenIn, Report, SideReport


@dataclass(frozen=True)
class ReadApproval:
    """An approval as read, with the place it is written at."""

    given: GivenApproval
    key: str
    """file and line, "approvals.yaml:3" """
    given_in: GivenIn

    def facts(self, report: Report, sides: Collection[str]) -> ApprovalFacts:
        """Compare it with a report, whose delivery has these `sides`."""
        given = self.given
        return ApprovalFacts(
            key=self.key, given_in=self.given_in, by=given.by, on=given.on.isoformat(), verdict=given.verdict,
            ruleset=given.ruleset, level=given.level,
            levels={side.side: side.level for side in given.sides if side.level is not None},
            despite=tuple(DespiteFacts(check=row.check, reason=row.reason) for row in given.despite),
            note=given.note or "", changed=tuple(self._changed(report, sides)),
            not_compared=tuple(sorted({side.side for side in given.sides} & self._not_judged(report, sides))),
        )  # fmt: skip

    def _changed(self, report: Report, sides: Collection[str]) -> Iterator[str]:
        """Name what is no longer the same."""
        given = self.given
        judged = {side.id: side for side in report.sides}
        for side in given.sides:
            if side.side not in sides:
                yield f"side {side.side}, which is gone"
            elif side.side in judged and [file.sha256 for file in side.audio] != digests(judged[side.side]):
                yield f"the audio of side {side.side}"
        approved = {side.side for side in given.sides}
        yield from (f"side {side}, which is new" for side in sorted(sides) if side not in approved)
        if given.delivery != report.delivery.sha256:
            yield "the delivery file"
        if given.ruleset_sha256 != report.ruleset.sha256:
            yield "the ruleset"

    @staticmethod
    def _not_judged(report: Report, sides: Collection[str]) -> set[str]:
        return set(sides) - {side.id for side in report.sides}

    def concerns(self, report: Report) -> bool:
        """Whether it is about this delivery: the same title and catalogue number, delivery file or audio file."""
        given, delivery = self.given, report.delivery
        same_name = (given.title, given.catalogue or "") == (delivery.title, delivery.catalogue)
        here = {digest for side in report.sides for digest in digests(side)}
        audio = {file.sha256 for side in given.sides for file in side.audio}
        return same_name or given.delivery == delivery.sha256 or bool(audio & here)


@dataclass(frozen=True)
class ReadApprovals:
    """The approvals of a run, and the fault of a file in the delivery's folder that could not be read."""

    approvals: tuple[ReadApproval, ...] = ()
    sides: tuple[str, ...] = ()
    """ids of all sides of the delivery"""
    unread: str = ""

    def added_to(self, report: Report) -> Report:
        """Return the report with the approvals: those of the delivery's folder, and of another file its own ones."""
        rows = tuple(
            approval.facts(report, self.sides)
            for approval in self.approvals
            if approval.given_in == "delivery" or approval.concerns(report)
        )
        if not rows and not self.unread:
            return report
        return report.model_copy(update={"approvals": rows, "approvals_unread": self.unread})


NO_APPROVALS = ReadApprovals()


def load_approvals(read: ReadDelivery, file: Path | None) -> ReadApprovals:
    """Read the approvals in the folder of a delivery and in a file.

    Raises DeliveryError, "FILE:LINE: ...", for a fault of `file`; one of the folder, which the sender may have written,
    is noted in the result.
    """
    found, unread = list[ReadApproval](), ""
    home, named = os.path.realpath(read.folder), None if file is None else os.path.realpath(file)
    try:
        own = in_folder(read.folder)
        if own is not None and os.path.realpath(own) not in {named, os.path.realpath(read.file)}:
            found += _read(own, "delivery", own.name)
    except DeliveryError as fault:
        unread = str(fault)
    if file is not None and named is not None:
        found += _read(file, "delivery" if Path(named).is_relative_to(home) else "file")
    return ReadApprovals(tuple(found), tuple(side.id for side in read.delivery.sides), unread)


def _read(path: Path, given_in: GivenIn, name: str | None = None) -> list[ReadApproval]:
    file, yaml_source = read_approvals(path, name)
    return [
        ReadApproval(approval, f"{path.name}:{yaml_source.line(('approvals', index))}", given_in)
        for index, approval in enumerate(file.approvals)
    ]


def digests(side: SideReport) -> list[str | None]:
    """Return the SHA-256 of each file of a side, in order; None for a file that could not be read."""
    return [file.sha256 for file in side.audio.files] or [side.audio.sha256]
