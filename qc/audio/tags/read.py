"""Read what an audio file says of itself, in the formats of its container."""

from __future__ import annotations

import os
import struct
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO, cast

from qc.audio.container.headers import bytes_at
from qc.audio.tags import aiff, flac, riff
from qc.audio.tags.collected import CollectedTags
from qc.audio.tags.model import FileTags
from qc.files.bounded_read import UnreadableFileError, open_plain

MOST_BYTES, MOST_READS = 1 << 21, 20_000
"""Bounds of what is read of one file."""
_READERS: dict[bytes, Callable[[BinaryIO, int, CollectedTags], None]] = {
    b"RIFF": riff.read, b"RIFX": riff.read, b"RF64": riff.read, b"BW64": riff.read, b"FORM": aiff.read,
    b"fLaC": flac.read,
}  # fmt: skip


class _BoundedFile:
    """A file of which only so many bytes can be read, in so many reads."""

    def __init__(self, file: BinaryIO) -> None:
        self._file, self._bytes, self._reads = file, MOST_BYTES, MOST_READS

    def seek(self, at: int) -> int:
        """Go to a byte."""
        return self._file.seek(at)

    def read(self, count: int) -> bytes:
        """Read the next bytes; raises ValueError beyond the bounds."""
        octets = self._file.read(min(count, self._bytes))
        self._bytes, self._reads = self._bytes - len(octets), self._reads - 1
        if not self._bytes or not self._reads:
            raise ValueError("too much to read")
        return octets


def read_tags(path: Path, file: str = "", track: int | None = None) -> FileTags:
    """Read the tags and cue points of a WAV, RF64, AIFF or FLAC file; never raises, and reads 2 MiB at most.

    `file` and `track` are how the delivery names the file. What is damaged becomes a note.
    """
    collected = CollectedTags()
    try:
        with open_plain(path) as opened:
            size = os.fstat(opened.fileno()).st_size
            kind = bytes_at(opened, 0, 4)
            if kind[:3] == b"ID3":
                kind = b"fLaC"
            reader = _READERS.get(kind)
            if reader is not None:
                reader(cast(BinaryIO, _BoundedFile(opened)), size, collected)
    except UnreadableFileError:
        pass  # reported where the file is examined
    except (OSError, ValueError, struct.error, OverflowError):
        collected.note("has tags that cannot be read to their end")
    return collected.finish(file or path.name, track)
