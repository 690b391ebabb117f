"""One file of the store: a small header and raw arrays, with a checksum over all of it.

    16 bytes   MARK
    32 bytes   SHA-256 of all that follows
     8 bytes   length of the header, little endian
    header     JSON: key, day of the measurement, tree, and of each array its kind, shape and order
    arrays     each from the next multiple of 64 on

A file is read at once and its arrays are views of what was read. Nothing is believed before the checksum fits, and no
length that a file states makes anything be allocated: what is stated must be what is there, to the byte. A file is
private to the user, and one that is a link or belongs to another user is not read.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import re
import secrets
import stat
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from math import prod
from pathlib import Path
from typing import Any

import numpy as np

from qc.cache.codec import NUMBERS, Array, Form, MisfitError, UnknownFormError

MARK = b"sidegate-kept-3\n"
_ANY = re.compile(rb"sidegate-kept-[0-9]\n")
"""MARK of any version."""
LONGEST = 256 * 2**20
"""Bytes of a file; a result that takes more is not stored."""
HEADER = 2**20
"""Bytes of a header."""
EDGE = 64
BESIDE = ".sidegate-"
"""How the name of a file begins that is being written."""
_SUM = 32
_HEAD = len(MARK) + _SUM + 8
_DEEPEST = 32
"""Dimensions of an array."""
PRIVATE = 0o600
"""Mode of a file: only the user reads and writes it."""
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


class DamagedError(Exception):
    """A file of the store that cannot be used: cut off, changed, a link, or of something else; the text says which."""


@dataclass(frozen=True, slots=True)
class Dated:
    """A stored value and the day on which it was measured, "2026-11-30" (UTC)."""

    value: Any
    day: str


def write(path: Path, key: str, form: Form, value: Any, day: str) -> None:
    """Store a value beside its place and rename it; raises UnknownFormError for one that is not stored, OSError."""
    arrays: list[Array] = []
    tree = form.put(value, arrays)
    stated = [[one.dtype.name, list(one.shape), "C" if one.flags.c_contiguous else "F"] for one in arrays]
    try:
        header = json.dumps({"key": key, "day": day, "tree": tree, "arrays": stated}, separators=(",", ":")).encode()
    except ValueError:  # a whole number of thousands of digits
        raise UnknownFormError("a number that cannot be written") from None
    pieces: list[bytes | memoryview] = [len(header).to_bytes(8, "little"), header]
    at = _HEAD + len(header)
    for one in arrays:
        pieces += [bytes(-at % EDGE), _octets(one)]
        at += -at % EDGE + one.nbytes
    if sys.byteorder != "little" or len(header) > HEADER or at > LONGEST:
        raise UnknownFormError("too large")
    _renamed(path, [MARK, _sum_of(pieces), *pieces])


def read(path: Path, key: str, form: Form) -> Dated:
    """Return a stored value; raises FileNotFoundError where there is none, DamagedError where it cannot be used."""
    octets = _whole(path)
    try:
        return _value(octets, key, form)
    except (MisfitError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        raise DamagedError("is damaged") from None


def same(form: Form, value: Any, other: Any) -> bool:
    """Whether two values would be stored as the same numbers, to the bit; raises UnknownFormError."""
    arrays: tuple[list[Array], list[Array]] = ([], [])
    tree, its = (json.dumps(form.put(one, into)) for one, into in zip((value, other), arrays, strict=True))
    return tree == its and all(
        one.dtype == another.dtype and one.shape == another.shape and one.tobytes() == another.tobytes()
        for one, another in zip(*arrays, strict=True)
    )


def _octets(array: Array) -> memoryview:
    """Give an array's memory as it lies; nothing is copied."""
    lying = array if array.flags.c_contiguous else array.T
    return lying.reshape(-1).view(np.uint8).data if array.size else memoryview(b"")


def _sum_of(pieces: Sequence[bytes | memoryview]) -> bytes:
    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
    return digest.digest()


def _renamed(path: Path, pieces: Sequence[bytes | memoryview]) -> None:
    beside = path.with_name(f"{BESIDE}{secrets.token_hex(16)}")
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(beside, flags, PRIVATE), "wb") as out:
            for piece in pieces:
                out.write(piece)
        beside.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def _whole(path: Path) -> bytes:
    """Read a file at once; raises DamagedError unless it is a plain one of the user's own, of a possible length."""
    handle = _opened(path)
    with os.fdopen(handle, "rb", buffering=0) as file:
        there = os.fstat(handle)
        if not stat.S_ISREG(there.st_mode):
            raise DamagedError("is no plain file")
        if hasattr(os, "geteuid") and there.st_uid != os.geteuid():
            raise DamagedError("belongs to another user")
        if not _HEAD <= there.st_size <= LONGEST:
            raise DamagedError("is damaged")
        octets = file.read(there.st_size)
    if octets is None or len(octets) != there.st_size or not _ANY.match(octets):
        raise DamagedError("is damaged")
    if not octets.startswith(MARK):  # another version of the tool wrote it: as if there were none
        raise FileNotFoundError(path)
    if _sum_of([memoryview(octets)[len(MARK) + _SUM :]]) != octets[len(MARK) : len(MARK) + _SUM]:
        raise DamagedError("is damaged")
    return octets


def _opened(path: Path) -> int:
    """Open a file for reading, without following a link or waiting for a pipe; raises DamagedError and OSError."""
    flags = os.O_RDONLY
    for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY"):
        flags |= getattr(os, name, 0)
    if not hasattr(os, "O_NOFOLLOW") and path.is_symlink():
        raise DamagedError("is a link")
    try:
        return os.open(path, flags)
    except OSError as why:
        if why.errno == errno.ELOOP:
            raise DamagedError("is a link") from None
        raise


def _value(octets: bytes, key: str, form: Form) -> Dated:
    length = int.from_bytes(octets[_HEAD - 8 : _HEAD], "little")
    if length > min(HEADER, len(octets) - _HEAD):
        raise MisfitError
    header = json.loads(octets[_HEAD : _HEAD + length])
    if header["key"] != key or not _DAY.fullmatch(header["day"]):
        raise MisfitError
    arrays, at = [], _HEAD + length
    for kind, shape, order in header["arrays"]:
        at += -at % EDGE
        array, at = _array(octets, at, NUMBERS[kind], shape, order)
        arrays.append(array)
    if at != len(octets):
        raise MisfitError
    return Dated(form.take(header["tree"], arrays), header["day"])


def _array(octets: bytes, at: int, kind: np.dtype[Any], shape: Any, order: Any) -> tuple[Array, int]:
    """Give the array that begins at a byte, read-only, and where it ends."""
    if not all(type(n) is int and n >= 0 for n in shape) or len(shape) > _DEEPEST or order not in {"C", "F"}:
        raise MisfitError
    count = prod(shape)
    end = at + count * kind.itemsize
    if end > len(octets):
        raise MisfitError
    if not count:
        array = np.empty(shape, kind, order)
        array.flags.writeable = False
        return array, end
    return np.frombuffer(octets, kind, count, at).reshape(shape, order=order), end
