"""The statements of one audio file about itself: texts by key, and marks in time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

About = Literal["title", "album", "catalogue", "isrc", "date", "track", "disc", "side", "text", ""]
"""Subject of a tag, whatever its format calls it; "text" is free text, "" anything else"""


@dataclass(frozen=True, slots=True)
class FileTag:
    """One statement: "RIFF INFO", "INAM", "Quiet Harbour"."""

    source: str
    """the format of the tag: "BWF bext", "iXML", "RIFF INFO", "Vorbis comment", "FLAC cue sheet", "AIFF", "ID3" """
    key: str
    """as the format names it"""
    value: str
    """on one line, printable, at most 1,000 characters"""
    about: About = ""


@dataclass(frozen=True, slots=True)
class CuePoint:
    """A mark that a file sets in its own audio."""

    source: str
    """"cue chunk", "marker chunk" or "FLAC cue sheet" """
    second: float
    label: str = ""
    track: int | None = None
    """number of the track that begins here, where the format states one"""
    isrc: str = ""
    """recording code of that track"""


@dataclass(frozen=True, slots=True)
class FileTags:
    """All that one file of a side says of itself; empty where it says nothing."""

    file: str = ""
    """as the delivery writes it"""
    track: int | None = None
    """number of the track that the file holds, where a side has one file a track"""
    tags: tuple[FileTag, ...] = ()
    cue_points: tuple[CuePoint, ...] = ()
    """in order of time"""
    notes: tuple[str, ...] = ()
    """what cannot be read, each a sentence without its subject: "has an iXML chunk that is not well formed" """
