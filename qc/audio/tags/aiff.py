"""Tags of AIFF files: the text chunks, comments, markers, ID3."""

from __future__ import annotations

import struct
from typing import BinaryIO

from qc.audio.container.headers import Chunk, bytes_at, chunks
from qc.audio.tags import id3
from qc.audio.tags.collected import LONGEST_BYTES, MOST_CUE_POINTS, CollectedTags, decoded, one_line
from qc.audio.tags.model import About, CuePoint

_TEXTS: dict[bytes, About] = {b"NAME": "title", b"AUTH": "", b"(c) ": "", b"ANNO": "text"}
_MARKERS_BYTES = 1 << 16


def read(file: BinaryIO, size: int, collected: CollectedTags) -> None:
    """Read the tags of an AIFF or AIFC file of `size` bytes."""
    rate, markers = 0.0, list[tuple[int, str]]()
    for chunk in chunks(file, size, 12, ">"):
        if chunk.name == b"COMM":
            rate = _rate(bytes_at(file, chunk.start + 8, 10))
        elif chunk.name in _TEXTS:
            octets = bytes_at(file, chunk.start, min(chunk.size, LONGEST_BYTES))
            collected.add("AIFF", chunk.name.decode().strip(), decoded(octets), _TEXTS[chunk.name])
        elif chunk.name == b"COMT":
            _comments(file, chunk, collected)
        elif chunk.name == b"MARK":
            markers = _markers(bytes_at(file, chunk.start, min(chunk.size, _MARKERS_BYTES)))
        elif chunk.name == b"ID3 ":
            id3.read(file, chunk.start, chunk.start + chunk.size, collected)
    if rate > 0.0:
        for frame, label in markers:
            collected.mark(CuePoint("marker chunk", frame / rate, label))


def _rate(octets: bytes) -> float:
    """Return the value of an 80-bit float as a rate; 0 where it is none."""
    if len(octets) < 10:
        return 0.0
    head, mantissa = struct.unpack(">HQ", octets)
    shift = head - 16383 - 63
    return float(mantissa) * 2.0**shift if -63 <= shift <= 0 else 0.0


def _comments(file: BinaryIO, chunk: Chunk, collected: CollectedTags) -> None:
    """Read the comments of a COMT chunk, each behind its time, its marker and its length."""
    end = chunk.start + chunk.size
    count = int.from_bytes(bytes_at(file, chunk.start, 2), "big")
    at = chunk.start + 2
    for _ in range(count):
        head = bytes_at(file, at, 8)
        if collected.full or at + 8 > end or len(head) < 8:
            return
        length = int.from_bytes(head[6:8], "big")
        text = decoded(bytes_at(file, at + 8, min(length, LONGEST_BYTES, max(0, end - at - 8))))
        collected.add("AIFF", "COMT", text, "text")
        at += 8 + length + length % 2


def _markers(octets: bytes) -> list[tuple[int, str]]:
    """Return frame and name of each marker; names have a length byte and an even number of bytes with it."""
    found, at = list[tuple[int, str]](), 2
    for _ in range(min(int.from_bytes(octets[:2], "big"), MOST_CUE_POINTS)):
        if at + 7 > len(octets):
            break
        length = octets[at + 6]
        found.append(
            (int.from_bytes(octets[at + 2 : at + 6], "big"), one_line(decoded(octets[at + 7 : at + 7 + length])))
        )
        at += 7 + length + (length + 1) % 2
    return found
