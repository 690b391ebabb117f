"""Statements of a file about what it holds, each with the file's own words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from qc.plugin_api import FileTag, FileTags
from qc_standard.file_words import codes, side_names
from qc_standard.file_words.declared import ListedRecord, ListedSide, number_of_side
from qc_standard.file_words.wording import agree, names_something, quoted, words

Kind = Literal["side", "disc", "title", "album", "track", "catalogue number", "ISRC", "date"]
FILE_NAME = "its name"
_FREE = {"text", "title", "album"}
"""Tags in which a side and a catalogue number are looked for."""


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing that a file says."""

    kind: Kind
    value: str
    """the number of a side, a title, a code, a day"""
    words: str
    """the file's own words, in quotation marks"""
    where: str
    """the tag that says it, "RIFF INFO INAM" """


def statements(tags: FileTags, side: ListedSide, record: ListedRecord) -> Iterator[Statement]:
    """Yield all that the tags and the name of a file say of what it holds."""
    for tag in tags.tags:
        yield from _of_tag(tag, record)
    yield from _of_name(tags, side, record)
    for point in tags.cue_points:
        if point.isrc:
            for code in codes.isrcs(point.isrc, named=False):
                yield Statement("ISRC", code, quoted(point.isrc), f"{point.source} track {point.track}")


def _of_tag(tag: FileTag, record: ListedRecord) -> Iterator[Statement]:
    where, whole = f"{tag.source} {tag.key}", quoted(tag.value)
    if tag.about in {"title", "album"} and names_something(tag.value):
        yield Statement("title" if tag.about == "title" else "album", tag.value, whole, where)
    elif tag.about == "date":
        yield Statement("date", tag.value, whole, where)
    elif tag.about == "catalogue" and not codes.barcode(tag.value):
        yield Statement("catalogue number", tag.value, whole, where)
    elif tag.about == "disc":
        yield Statement("disc", tag.value.partition("/")[0].strip(), whole, where)
    elif tag.about == "side" and (number := number_of_side(tag.value.strip())) is not None:
        yield Statement("side", str(number), whole, where)
    elif tag.about == "track" and side_names.numbered(tag.value) is not None:
        yield Statement("track", tag.value, whole, where)
    if tag.about in {"isrc", "text"}:
        for code in codes.isrcs(tag.value, named=tag.about == "text"):
            yield Statement("ISRC", code, whole, where)
    if tag.about in _FREE:
        yield from _of_text(tag.value, where, record)


def _of_text(text: str, where: str, record: ListedRecord) -> Iterator[Statement]:
    if not _is_title(text, record):
        for number, start, end in side_names.in_text(text, record.catalogue):
            yield Statement("side", str(number), quoted(text, start, end), where)
    for code, start, end in codes.of_same_shape(text, record.catalogue):
        yield Statement("catalogue number", code, quoted(text, start, end), where)


def _is_title(text: str, record: ListedRecord) -> bool:
    """Whether a title that itself sounds like a side, such as a song "Side B", is part of a text."""
    titles = [record.title, *(track.title for side in record.sides for track in side.tracks)]
    return any(next(side_names.in_text(title), None) and agree(title, text) for title in titles)


def _of_name(tags: FileTags, side: ListedSide, record: ListedRecord) -> Iterator[Statement]:
    """Yield what the path of a file says, as the delivery writes it."""
    name = tags.file
    numbers = {other.number for other in record.sides if other.number is not None}
    if tags.track is None:
        known = [record.title, record.catalogue, record.series, *(track.title for track in side.tracks)]
        known += [word for word in words(name) if _shared(word, record)]
        found = side_names.in_file_name(name, record.catalogue, known, numbers)
    else:
        title = next((track.title for track in side.tracks if track.number == tags.track), "")
        found = side_names.in_track_name(name, record.catalogue, numbers if not _begins(name, title) else ())
    if not _is_title(name, record):
        for number, start, end in found:
            yield Statement("side", str(number), quoted(name, start, end), FILE_NAME)
    for code, start, end in codes.of_same_shape(name, record.catalogue):
        yield Statement("catalogue number", code, quoted(name, start, end), FILE_NAME)


def _shared(word: str, record: ListedRecord) -> bool:
    """Whether the files of all sides, two or more, have a word in their names, so that it does not tell them apart."""
    names = [side.file for side in record.sides if side.file]
    return len(word) > 1 and len(names) > 1 and all(word in words(name) for name in names)


def _begins(name: str, title: str) -> bool:
    """Whether the title of a track begins with the first word of its file's name: "A1 Sauce"."""
    first, own = words(name.rpartition("/")[2])[:1], words(title)[:1]
    return bool(first) and first == own
