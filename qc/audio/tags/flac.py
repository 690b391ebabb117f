"""Vorbis comments and the cue sheet of a FLAC file (RFC 9639, sections 8.6 and 8.7)."""

from __future__ import annotations

import struct
from typing import BinaryIO

from qc.audio.container.headers import bytes_at, flac_start
from qc.audio.tags.collected import LONGEST_BYTES, CollectedTags, decoded
from qc.audio.tags.model import CuePoint
from qc.audio.tags.names import about_name

_COMMENTS, _CUE_SHEET, _STREAM = 4, 5, 0
_MOST_BLOCKS = 400
_MOST_COMMENTS = 1000
_LEAD_OUT = {170, 255}
"""Numbers of the track behind the last one."""


def read(file: BinaryIO, size: int, collected: CollectedTags) -> None:
    """Read the tags of a FLAC file of `size` bytes."""
    start, rate = flac_start(file) + 4, 0
    for _ in range(_MOST_BLOCKS):
        head = bytes_at(file, start, 4)
        if len(head) < 4:
            return
        kind, end = head[0] & 0x7F, start + 4 + int.from_bytes(head[1:], "big")
        if end > size:
            collected.note("has a block of metadata that is longer than the file")
            end = size
        if kind == _STREAM:
            rate = int.from_bytes(bytes_at(file, start + 14, 3), "big") >> 4
        elif kind == _COMMENTS:
            _comments(file, start + 4, end, collected)
        elif kind == _CUE_SHEET and rate:
            _cue_sheet(file, start + 4, end, rate, collected)
        start = end
        if head[0] & 0x80:
            return


def _comments(file: BinaryIO, start: int, end: int, collected: CollectedTags) -> None:
    """Read comments one by one; of a long one, such as a picture, only the beginning."""
    at = start + 4 + _number(file, start)
    count = _number(file, at)
    at += 4
    for _ in range(min(count, _MOST_COMMENTS)):
        length = _number(file, at)
        if at + 4 + length > end:
            collected.note("has Vorbis comments that end too early")
            return
        key, _, value = bytes_at(file, at + 4, min(length, LONGEST_BYTES)).partition(b"=")
        name = decoded(key)
        if not name.upper().startswith(("METADATA_BLOCK_PICTURE", "COVERART")):
            collected.add("Vorbis comment", name, decoded(value), about_name(name))
        at += 4 + length
        if collected.full:
            return


def _number(file: BinaryIO, at: int) -> int:
    return int(struct.unpack("<I", bytes_at(file, at, 4))[0])


def _cue_sheet(file: BinaryIO, start: int, end: int, rate: int, collected: CollectedTags) -> None:
    """Read catalogue number, starts and recording codes; a track begins at its index 1."""
    head = bytes_at(file, start, 396)
    if len(head) < 396:
        return
    collected.add("FLAC cue sheet", "catalog number", decoded(head[:128]), "catalogue")
    at = start + 396
    for _ in range(head[395]):
        track = bytes_at(file, at, 36)
        if at + 36 > end or len(track) < 36:
            collected.note("has a cue sheet that ends too early")
            return
        offset, number, count = int.from_bytes(track[:8], "big"), track[8], track[35]
        indexes = bytes_at(file, at + 36, 12 * count)
        begin = next((offset + o for o, i in struct.iter_unpack(">QB3x", indexes[: len(indexes) // 12 * 12]) if i == 1),
                     offset)  # fmt: skip
        if number not in _LEAD_OUT:
            collected.mark(CuePoint("FLAC cue sheet", begin / rate, "", number, decoded(track[9:21]).strip()))
        at += 36 + 12 * count
