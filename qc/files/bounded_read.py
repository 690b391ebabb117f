"""Read files that a sender may have made: plain files only, no larger than a limit, each fault in one sentence."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO, Literal

FileFault = Literal["missing", "folder", "link", "special", "large", "changing", "encoding", "unreadable"]

_REASONS: dict[FileFault, str] = {
    "missing": "is not there",
    "folder": "is a folder",
    "link": "is a link",
    "special": "is not a plain file",
    "changing": "changed while it was read",
}
_SENTENCES: dict[FileFault, str] = {
    "missing": "there is no such file; check the name of the {noun}",
    "folder": "this is a folder, not a {noun}; name the {kind} itself",
    "link": "this is a link, not a {noun}; name the {kind} itself",
    "special": "this is not a plain file, so it cannot be a {noun}; name the {kind} itself",
    "large": "the file {reason}, so it cannot be a {noun}; name another file",
    "changing": "the {noun} {reason}; try again when it is written",
    "encoding": "{reason}; save the file as UTF-8",
    "unreadable": "the {noun} {reason}; check its name and who may read it",
}
_NEVER_WAIT = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


class UnreadableFileError(Exception):
    """A file that was not read. Its text is the reason, to follow the file's name: "is not a plain file"."""

    def __init__(self, fault: FileFault, reason: str = "", line: int | None = None) -> None:
        self.fault, self.reason, self.line = fault, reason or _REASONS[fault], line
        super().__init__(self.reason)

    def sentence(self, noun: str, kind: str = "file") -> str:
        """Return the fault and what to do, to follow "FILE: " (or "FILE:LINE: " where `line` is not None).

        `noun` is what the file was meant to be, such as "ruleset", and `kind` how to ask for it, such as "YAML file".
        """
        return _SENTENCES[self.fault].format(noun=noun, kind=kind, reason=self.reason)


def open_plain(path: Path, *, follow: bool = True) -> BinaryIO:
    """Open a plain file for reading, unbuffered; raises UnreadableFileError.

    Nothing here waits: folders, pipes and devices are refused before they are opened, and again if one takes the
    file's place meanwhile. Without `follow` a link is refused too.
    """
    try:
        _refuse(path.stat(follow_symlinks=follow).st_mode)
        handle = os.open(path, _NEVER_WAIT | (0 if follow else getattr(os, "O_NOFOLLOW", 0)))
    except (OSError, ValueError) as error:
        raise _unreadable(error) from None
    file = os.fdopen(handle, "rb", buffering=0)
    try:
        _refuse(os.fstat(handle).st_mode)
    except BaseException:
        file.close()
        raise
    return file


def read_bytes(path: Path, largest: int, *, follow: bool = True) -> bytes:
    """Return the content of a plain file of at most `largest` bytes; raises UnreadableFileError."""
    with open_plain(path, follow=follow) as file:
        return read_open(file, largest)


def read_open(file: BinaryIO, largest: int) -> bytes:
    """Return the content of an open file, at most `largest` bytes; raises UnreadableFileError."""
    try:
        size = os.fstat(file.fileno()).st_size
        content = file.read(min(size, largest) + 1)  # one byte more than there should be, so that growth shows
    except OSError as error:
        raise _unreadable(error) from None
    if max(size, len(content)) > largest:
        raise UnreadableFileError("large", f"is larger than {_size(largest)}")
    if len(content) != size:
        raise UnreadableFileError("changing")
    return content


def read_text(path: Path, largest: int) -> str:
    """Return the text of a plain UTF-8 file of at most `largest` bytes; raises UnreadableFileError."""
    return decoded(read_bytes(path, largest))


def decoded(content: bytes) -> str:
    """Decode UTF-8 with or without a byte order mark; raises UnreadableFileError with the line of the first fault."""
    try:
        return content.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        before = content[: error.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        reason = f"the byte {content[error.start]:#04x} at offset {error.start} is not UTF-8"
        raise UnreadableFileError("encoding", reason, before.count(b"\n") + 1) from None


def _size(limit: int) -> str:
    """Write a limit in bytes as "256 KiB" or "64 MiB"."""
    return f"{limit >> 20} MiB" if limit >= 1 << 20 else f"{limit >> 10} KiB" if limit >= 1 << 10 else f"{limit} bytes"


def _refuse(mode: int) -> None:
    if stat.S_ISREG(mode):
        return
    raise UnreadableFileError("folder" if stat.S_ISDIR(mode) else "link" if stat.S_ISLNK(mode) else "special")


def _unreadable(error: OSError | ValueError) -> UnreadableFileError:
    if isinstance(error, FileNotFoundError):
        return UnreadableFileError("missing")
    if isinstance(error, OSError) and error.errno == errno.ELOOP:
        return UnreadableFileError("link", "leads through links in a circle")
    return UnreadableFileError("unreadable", f"cannot be read ({getattr(error, 'strerror', None) or error})")
