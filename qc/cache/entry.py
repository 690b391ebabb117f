"""One file of the store: a small header and arrays as .npy, with a checksum over all of it.

    16 bytes   MARK
    32 bytes   SHA-256 of all that follows
     8 bytes   length of the header, little endian
    header     MessagePack: key, day of the measurement, value, digests of the parts of the key
    arrays     each a .npy file, from the next multiple of 64 on

A file is read at once and its arrays are views of what was read. Nothing is believed before the checksum fits, and no
length that a file states makes anything be allocated: what is stated must be what is there, to the byte. A file is
private to the user, and one that is a link or belongs to another user is not read.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import prod
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

import msgspec
import numpy as np

from qc.cache.codec import NUMBERS, Array, NotStorableError, decode, encode
from qc.files.atomic_write import write_file
from qc.files.bounded_read import UnreadableFileError, open_plain, read_open

MARK = b"sidegate-kept-5\n"
_ANY = re.compile(rb"sidegate-kept-[0-9]\n")
"""MARK of any version."""
LONGEST = 256 * 2**20
"""Bytes of a file; a result that takes more is not stored."""
HEADER = 2**20
"""Bytes of a header."""
EDGE = 64
PRIVATE = 0o600
"""Mode of a file: only the user reads and writes it."""
_SUM = len(MARK) + 32
_HEAD = _SUM + 8


class DamagedError(Exception):
    """A file of the store that cannot be used: cut off, changed, a link, or of something else; the text says which."""


@dataclass(frozen=True, slots=True)
class Dated:
    """A stored value and the day on which it was measured, "2026-11-30" (UTC)."""

    value: Any
    day: str


class _Header(msgspec.Struct, array_like=True, forbid_unknown_fields=True):
    key: str
    day: Annotated[str, msgspec.Meta(pattern=r"\A\d{4}-\d\d-\d\d\Z")]
    value: msgspec.Raw
    parts: tuple[tuple[str, str], ...] = ()


def write(
    path: Path, key: str, kind: Any, value: Any, day: str, parts: Mapping[str, str] = MappingProxyType({})
) -> None:
    """Store a value of a type; raises NotStorableError for one that is not stored, OSError.

    `parts` has digests of what the key was made of, by name.
    """
    written, arrays = encode(kind, value)
    header = msgspec.msgpack.encode(_Header(key, day, msgspec.Raw(written), tuple(parts.items())))
    pieces: list[bytes | memoryview] = [len(header).to_bytes(8, "little"), header]
    size = _HEAD + len(header)
    for array in arrays:
        pieces += [bytes(-size % EDGE), _npy_header(array), _memory(array)]
        size += sum(len(piece) for piece in pieces[-3:])
    if len(header) > HEADER or size > LONGEST:
        raise NotStorableError("too large")
    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
    write_file(path, lambda out: out.writelines([MARK, digest.digest(), *pieces]), mode=PRIVATE)


def read(path: Path, key: str, kind: Any) -> Dated:
    """Return a stored value of a type.

    Raises FileNotFoundError where there is none, DamagedError for one that cannot be used, UnreadableFileError.
    """
    content = _content(path)
    end = _HEAD + int.from_bytes(content[_SUM:_HEAD], "little")
    try:
        header = msgspec.msgpack.decode(content[_HEAD : min(end, _HEAD + HEADER)], type=_Header)
        value = decode(kind, bytes(header.value), _arrays(content, end))
    except Exception:  # what is in a forged header, or in that of an array, may make a parser raise anything
        raise DamagedError("is damaged") from None
    if header.key != key:
        raise DamagedError("is damaged")
    return Dated(value, header.day)


def parts(path: Path) -> dict[str, str]:
    """Return the digests of what the key of an entry was made of, by name; empty where they cannot be read."""
    try:
        content = _content(path)
        end = _HEAD + int.from_bytes(content[_SUM:_HEAD], "little")
        return dict(msgspec.msgpack.decode(content[_HEAD : min(end, _HEAD + HEADER)], type=_Header).parts)
    except Exception:  # what is in a forged header may make a parser raise anything
        return {}


def _content(path: Path) -> bytes:
    """Read a file of this version at once; raises DamagedError unless it is a plain, whole one of the user's own."""
    try:
        with open_plain(path, follow=False) as file:
            if hasattr(os, "geteuid") and os.fstat(file.fileno()).st_uid != os.geteuid():
                raise DamagedError("belongs to another user")
            content = read_open(file, LONGEST)
    except UnreadableFileError as fault:
        if fault.fault == "missing":
            raise FileNotFoundError(path) from None
        if fault.fault == "unreadable":
            raise
        raise DamagedError("is damaged" if fault.fault in {"large", "changing"} else str(fault)) from None
    if not _ANY.match(content):
        raise DamagedError("is damaged")
    if not content.startswith(MARK):  # another version of the tool wrote it: as if there were none
        raise FileNotFoundError(path)
    if hashlib.sha256(memoryview(content)[_SUM:]).digest() != content[len(MARK) : _SUM]:
        raise DamagedError("is damaged")
    return content


def _npy_header(array: Array) -> bytes:
    out = io.BytesIO()
    np.lib.format.write_array_header_1_0(out, np.lib.format.header_data_from_array_1_0(array))
    return out.getvalue()


def _memory(array: Array) -> memoryview:
    """Return an array's memory, not copied."""
    rows = array if array.flags.c_contiguous else array.T
    return rows.reshape(-1).view(np.uint8).data if array.size else memoryview(b"")


def _arrays(content: bytes, start: int) -> list[Array]:
    """Return the arrays that follow the header, read-only views of what was read; raises ValueError."""
    found, file = [], io.BytesIO(content)
    while start != len(content):
        file.seek(start + -start % EDGE)
        if np.lib.format.read_magic(file) != (1, 0):
            raise ValueError
        shape, by_column, kind = np.lib.format.read_array_header_1_0(file)
        end = file.tell() + prod(shape) * kind.itemsize
        if kind.kind not in NUMBERS or min(shape, default=0) < 0 or end > len(content):
            raise ValueError
        found.append(np.ndarray(shape, kind, content, file.tell(), order="F" if by_column else "C"))
        start = end
    return found
