"""The iXML chunk of a WAV file. Entities and document types are refused, so nothing expands."""

from __future__ import annotations

from typing import BinaryIO
from xml.parsers import expat

from qc.audio.container.headers import Chunk, bytes_at
from qc.audio.tags.collected import LONGEST_VALUE, CollectedTags
from qc.audio.tags.model import About

LARGEST = 1 << 18
"""Bytes of an iXML chunk that is read (practice)."""
_DEEPEST = 16
"""Elements inside each other."""
_ABOUT: dict[tuple[str, ...], About] = {
    ("PROJECT",): "text", ("SCENE",): "text", ("TAKE",): "", ("TAPE",): "text", ("NOTE",): "text",
    ("BEXT", "BWF_DESCRIPTION"): "text", ("BEXT", "BWF_ORIGINATOR_REFERENCE"): "text",
    ("BEXT", "BWF_ORIGINATION_DATE"): "date",
}  # fmt: skip
"""Elements that are read, as the path below the root."""


class _RefusedError(Exception):
    pass


class _Texts:
    """The handlers of the parser, and the texts of the elements that are read."""

    def __init__(self, collected: CollectedTags) -> None:
        self._collected, self._path, self._text = collected, list[str](), ""
        self.whole = False
        """whether the root was closed; writers pad the chunk behind it"""

    def start(self, name: str, attributes: dict[str, str]) -> None:  # noqa: ARG002
        self._path.append(name)
        self._text = ""
        if len(self._path) > _DEEPEST:
            raise _RefusedError

    def text(self, text: str) -> None:
        if tuple(self._path[1:]) in _ABOUT and len(self._text) < LONGEST_VALUE:
            self._text += text[:LONGEST_VALUE]

    def end(self, name: str) -> None:  # noqa: ARG002
        path = tuple(self._path[1:])
        if path in _ABOUT:
            self._collected.add("iXML", path[-1], self._text, _ABOUT[path])
        self._path.pop()
        self._text, self.whole = "", not self._path

    def refuse(self, *parts: object) -> None:  # noqa: ARG002
        raise _RefusedError


def read_ixml(file: BinaryIO, chunk: Chunk, collected: CollectedTags) -> None:
    """Read the texts of an iXML chunk; one that is too large or not well formed becomes a note."""
    if chunk.size > LARGEST:
        collected.note(f"has an iXML chunk of {chunk.size:,} bytes, which is not read")
        return
    octets = bytes_at(file, chunk.start, chunk.size)
    if not octets.strip(b"\0"):
        return
    texts, parser = _Texts(collected), expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = texts.start, texts.end
    parser.CharacterDataHandler = texts.text
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = texts.refuse
    try:
        parser.Parse(octets, True)
    except (expat.ExpatError, _RefusedError, ValueError, LookupError):
        if not texts.whole:
            collected.note("has an iXML chunk that is not well formed")
