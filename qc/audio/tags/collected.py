"""Collect the tags of a file as they are read: text decoded, made printable, and bounded in number and length."""

from __future__ import annotations

import unicodedata

from qc.audio.tags.model import About, CuePoint, FileTag, FileTags
from qc.text.sanitize import shown

MOST_TAGS = 200
MOST_CUE_POINTS = 1000
LONGEST_VALUE = 1000
"""Characters of a value that are kept."""
LONGEST_BYTES = 4 * LONGEST_VALUE
"""Bytes of a value that are read."""


def decoded(octets: bytes, encoding: str = "") -> str:
    """Decode a text up to its first zero byte; by default UTF-8, else Windows-1252, never an error.

    Formats that prescribe ASCII or leave the encoding open are written in both.
    """
    if encoding:
        return octets.decode(encoding, "replace").partition("\0")[0]
    octets = octets.partition(b"\0")[0]
    try:
        return octets.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start > len(octets) - 4 and len(octets) >= LONGEST_BYTES:  # the end of a text that was not read whole
            return octets[: error.start].decode("utf-8")
        return octets.decode("cp1252", "replace")


class CollectedTags:
    """The tags of one file so far; what exceeds the bounds is left out, with a note."""

    def __init__(self) -> None:
        self._tags: list[FileTag] = []
        self._cue_points: list[CuePoint] = []
        self._notes: list[str] = []

    @property
    def full(self) -> bool:
        """Whether no further tag is kept."""
        return len(self._tags) >= MOST_TAGS

    def add(self, source: str, key: str, text: str, about: About = "") -> None:
        """Add a tag, unless its text is empty."""
        value = one_line(text)
        if not value:
            return
        if self.full:
            self.note(f"has more than {MOST_TAGS} tags, of which the first are read")
        else:
            self._tags.append(FileTag(source, shown(key), value, about))

    def mark(self, point: CuePoint) -> None:
        """Add a cue point."""
        if len(self._cue_points) >= MOST_CUE_POINTS:
            self.note(f"has more than {MOST_CUE_POINTS:,} cue points, of which the first are read")
        else:
            self._cue_points.append(point)

    def note(self, sentence: str) -> None:
        """Add a note about what cannot be read, once."""
        if sentence not in self._notes:
            self._notes.append(sentence)

    def finish(self, file: str, track: int | None) -> FileTags:
        """Return all of it."""
        points = tuple(sorted(self._cue_points, key=lambda point: point.second))
        return FileTags(file, track, tuple(self._tags), points, tuple(self._notes))


def one_line(text: str) -> str:
    """Return a text on one line, composed and printable, without spaces at its ends."""
    composed = unicodedata.normalize("NFC", text[:LONGEST_BYTES])
    return shown(" ".join(composed.split()), longest=LONGEST_VALUE)
