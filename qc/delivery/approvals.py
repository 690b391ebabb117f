"""Read and extend a file of approvals: who approved which audio, delivery and ruleset, when, and with which verdict."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from pydantic import Field

from qc.delivery.fields import Day, InputModel, Line, SchemaOne, Sha256, SideId, Text
from qc.files.atomic_write import put_file
from qc.files.bounded_read import UnreadableFileError, read_bytes
from qc.files.yaml_source import LARGEST, YamlSource, name_of, parse_yaml, validate
from qc.model.errors import DeliveryError
from qc.text.sanitize import shown

NAME = "approvals.yaml"
"""Name of the file in the folder of a delivery."""
HEAD = """\
# Approvals, each bound by digests to what was approved; `sidegate approve` adds to the end.
schema: 1
approvals:
"""
"""The beginning of a new file."""


class ApprovedFile(InputModel):
    """An audio file as it was approved."""

    file: Line
    sha256: Sha256


class ApprovedSide(InputModel):
    """A side as it was approved: the level it was judged at, and its files in order."""

    side: SideId
    level: Line | None = None
    audio: tuple[ApprovedFile, ...] = Field(min_length=1)


class ApprovedDespite(InputModel):
    """A check that failed, and the reason why the delivery was approved all the same."""

    check: Line
    reason: Text


class GivenApproval(InputModel):
    """An approval of a delivery, bound to the digests of its file, its ruleset and its audio."""

    by: Line = Field(examples=["the cutting engineer"])
    on: Day
    verdict: Literal["pass", "warn", "fail"]
    title: Line
    catalogue: Line | None = None
    delivery: Sha256
    """digest of the delivery file"""
    ruleset: Line = Field(examples=["disc-12in-33@3.2.0"])
    ruleset_sha256: Sha256
    level: Line | None = None
    """the value of `--level`"""
    sides: tuple[ApprovedSide, ...] = Field(min_length=1)
    despite: tuple[ApprovedDespite, ...] = ()
    note: Text | None = None
    tool: Line


class ApprovalsFile(InputModel):
    """The contents of a file of approvals."""

    schema_: SchemaOne = Field(alias="schema", examples=["1"])
    approvals: tuple[GivenApproval, ...]


def read_approvals(path: Path, name: str | None = None) -> tuple[ApprovalsFile, YamlSource]:
    """Read a file of approvals with its lines; raises DeliveryError, "FILE:LINE: ...", for an invalid one.

    `name` names the file in messages, by default its path.
    """
    return _parsed(_content(path, name or name_of(path)), name or name_of(path))


def in_folder(folder: Path) -> Path | None:
    """Return the file of approvals in the folder of a delivery; None where there is none.

    Raises DeliveryError where a link leads out of the folder.
    """
    path = folder / NAME
    if not os.path.lexists(path):
        return None
    if not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder)):
        raise DeliveryError(f"{NAME}: it leads through a link out of the delivery's folder and was not read")
    return path


def append_approval(path: Path, approval: GivenApproval) -> None:
    """Add an approval at the end of a file, whose other lines stay as they are, or begin the file.

    The file is replaced as a whole or not at all. Raises DeliveryError for a file that cannot be extended, OutputError
    for one that cannot be written.
    """
    name, path = name_of(path), Path(os.path.realpath(path))
    if not os.path.lexists(path):
        put_file(path, (HEAD + "".join(_written(approval, "  "))).encode(), name, fresh=True)
        return
    before = _content(path, name)
    earlier, yaml_source = _parsed(before, name)
    after = _extended(before, approval)
    if len(after) > LARGEST:
        raise DeliveryError(f"{name}: with one more approval it is larger than 256 KiB; name a new file by --approvals")
    extended = _tried(after, name)
    if extended is None or extended.approvals != (*earlier.approvals, approval):
        what = "an approval cannot be added at the end of this list; write it one approval after the other, each with"
        raise DeliveryError(f'{yaml_source.at(("approvals",))}: {what} "- " before it, as the last part of the file')
    if _content(path, name) != before:
        raise DeliveryError(f"{name}: it was changed meanwhile; try again")
    put_file(path, after, name)


def _content(path: Path, name: str) -> bytes:
    try:
        return read_bytes(path, LARGEST)
    except UnreadableFileError as fault:
        raise DeliveryError(f"{name}: {fault.sentence('file of approvals', 'YAML file')}") from None


def _parsed(content: bytes, name: str) -> tuple[ApprovalsFile, YamlSource]:
    yaml_source = parse_yaml(content, name, "approvals", DeliveryError)
    return validate(yaml_source, ApprovalsFile, DeliveryError), yaml_source


def _tried(content: bytes, name: str) -> ApprovalsFile | None:
    try:
        return _parsed(content, name)[0]
    except DeliveryError:
        return None


def _extended(before: bytes, approval: GivenApproval) -> bytes:
    """Return the text of a file with one more approval, indented as the others, with the line ends of the file."""
    item = re.search(rb"^( *)- ", before, re.MULTILINE)
    end = b"\r\n" if b"\r\n" in before else b"\n"
    joined = before if before.endswith((b"\n", b"\r")) or not before else before + end
    lines = "".join(_written(approval, "  " if item is None else item[1].decode())).encode()
    return joined + lines.replace(b"\n", end)


def _written(approval: GivenApproval, indent: str) -> Iterator[str]:
    """Yield the lines of an approval in YAML; every text is quoted."""
    start = f"{indent}- "
    for key, value in _fields(approval):
        yield f"{start}{key}: {value}\n"
        start = f"{indent}  "
    yield f"{start}sides:\n"
    for side in approval.sides:
        level = f", level: {_quoted(side.level)}" if side.level else ""
        files = ", ".join(f"{{file: {_quoted(file.file)}, sha256: {_quoted(file.sha256)}}}" for file in side.audio)
        yield f"{start}  - {{side: {_quoted(side.side)}{level}, audio: [{files}]}}\n"
    if approval.despite:
        yield f"{start}despite:\n"
        for row in approval.despite:
            yield f"{start}  - {{check: {_quoted(row.check)}, reason: {_quoted(row.reason)}}}\n"
    if approval.note:
        yield f"{start}note: {_quoted(approval.note)}\n"
    yield f"{start}tool: {_quoted(approval.tool)}\n"


def _fields(approval: GivenApproval) -> Iterator[tuple[str, str]]:
    yield "by", _quoted(approval.by)
    yield "on", approval.on.isoformat()
    yield "verdict", approval.verdict
    yield "title", _quoted(approval.title)
    if approval.catalogue:
        yield "catalogue", _quoted(approval.catalogue)
    yield "delivery", _quoted(approval.delivery)
    yield "ruleset", _quoted(approval.ruleset)
    yield "ruleset_sha256", _quoted(approval.ruleset_sha256)
    if approval.level:
        yield "level", _quoted(approval.level)


def _quoted(text: str) -> str:
    """Quote a text for YAML, made printable."""
    return json.dumps(printable(text), ensure_ascii=False)


def printable(text: str) -> str:
    """Make a text printable and whole, as the file has it: no line of it may have what cannot be seen."""
    return shown(text, 4 * len(text) + 60)
