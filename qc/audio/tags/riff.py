"""Tags of WAV and RF64 files: bext (EBU Tech 3285), iXML, LIST INFO, cue points with their labels, ID3."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from typing import BinaryIO

from qc.audio.container.headers import Chunk, bytes_at, chunks, real_sizes
from qc.audio.tags import id3
from qc.audio.tags.collected import LONGEST_BYTES, MOST_CUE_POINTS, CollectedTags, decoded, one_line
from qc.audio.tags.ixml import read_ixml
from qc.audio.tags.model import About, CuePoint

BEXT_BYTES = 602
"""Bytes of a bext chunk before its coding history."""
_FIELDS: tuple[tuple[str, int, int, About], ...] = (
    ("Description", 0, 256, "text"), ("Originator", 256, 32, ""), ("OriginatorReference", 288, 32, "text"),
    ("OriginationDate", 320, 10, "date"), ("OriginationTime", 330, 8, ""),
)  # fmt: skip
"""Name, first byte and length of the texts of a bext chunk."""
_LOUDNESS = (
    ("LoudnessValue", "LUFS"), ("LoudnessRange", "LU"), ("MaxTruePeakLevel", "dBTP"), ("MaxMomentaryLoudness", "LUFS"),
    ("MaxShortTermLoudness", "LUFS"),
)  # fmt: skip
"""Levels of a bext chunk of version 2 in hundredths, from byte 412 on."""
_NO_LEVEL = 0x7FFF
_INFO: dict[bytes, About] = {
    b"INAM": "title", b"IPRD": "album", b"ICMT": "text", b"ISBJ": "text", b"IKEY": "text", b"ISRC": "isrc",
    b"ITRK": "track", b"IPRT": "track", b"ICRD": "",
}  # fmt: skip


def read(file: BinaryIO, size: int, collected: CollectedTags) -> None:
    """Read the tags of a RIFF file of `size` bytes."""
    _RiffTags(file, ">" if bytes_at(file, 0, 4) == b"RIFX" else "<", collected).read(size)


class _RiffTags:
    """The chunks of one file; cue points wait for the sample rate and for their labels."""

    def __init__(self, file: BinaryIO, order: str, collected: CollectedTags) -> None:
        self._file, self._order, self._collected = file, order, collected
        self._rate = 0
        self._points: dict[int, int] = {}
        self._labels: dict[int, str] = {}
        self._readers: dict[bytes, Callable[[Chunk], None]] = {
            b"fmt ": self._format, b"bext": self._bext, b"iXML": self._ixml, b"LIST": self._list, b"cue ": self._cue,
            b"id3 ": self._id3, b"ID3 ": self._id3,
        }  # fmt: skip

    def read(self, size: int) -> None:
        """Read all chunks of a file of `size` bytes."""
        for chunk in chunks(self._file, size, 12, self._order, real_sizes(self._file)[0]):
            reader = self._readers.get(chunk.name)
            if reader is None:
                continue
            if chunk.start + chunk.size > size:
                self._collected.note(f"has a chunk {chunk.name.decode().strip()} that is longer than the file")
            reader(chunk)
        if self._rate:
            for number, frame in self._points.items():
                label = self._labels.get(number, "")
                self._collected.mark(CuePoint("cue chunk", frame / self._rate, label))

    def _format(self, chunk: Chunk) -> None:
        head = bytes_at(self._file, chunk.start, min(chunk.size, 8))
        self._rate = struct.unpack(f"{self._order}I", head[4:8])[0] if len(head) == 8 else 0

    def _ixml(self, chunk: Chunk) -> None:
        read_ixml(self._file, chunk, self._collected)

    def _id3(self, chunk: Chunk) -> None:
        id3.read(self._file, chunk.start, chunk.start + chunk.size, self._collected)

    def _bext(self, chunk: Chunk) -> None:
        octets, collected = bytes_at(self._file, chunk.start, min(chunk.size, BEXT_BYTES)), self._collected
        if len(octets) < 348:
            collected.note("has a bext chunk that is too short")
            return
        for key, start, length, about in _FIELDS:
            collected.add("BWF bext", key, decoded(octets[start : start + length]), about)
        low, high, version = struct.unpack(f"{self._order}IIH", octets[338:348])
        if low or high:
            collected.add("BWF bext", "TimeReference", f"{high << 32 | low}")
        if version >= 2 and len(octets) >= 422:
            levels = struct.unpack(f"{self._order}5h", octets[412:422])
            for (key, unit), level in zip(_LOUDNESS, levels, strict=True):
                if level != _NO_LEVEL:
                    collected.add("BWF bext", key, f"{level / 100:.2f} {unit}")

    def _list(self, chunk: Chunk) -> None:
        """Read a LIST chunk: texts of kind INFO, or of kind adtl the labels of cue points, by their number."""
        kind = bytes_at(self._file, chunk.start, min(chunk.size, 4))
        for part in self._parts(chunk):
            octets = bytes_at(self._file, part.start, min(part.size, LONGEST_BYTES))
            if kind == b"INFO":
                name = part.name.decode("latin-1")
                self._collected.add("RIFF INFO", name, decoded(octets), _INFO.get(part.name, ""))
            elif kind == b"adtl" and part.name == b"labl" and len(octets) > 4:
                number = struct.unpack(f"{self._order}I", octets[:4])[0]
                self._labels[number] = one_line(decoded(octets[4:]))

    def _parts(self, chunk: Chunk) -> Iterator[Chunk]:
        """Yield the entries of a list that lie inside it."""
        end = chunk.start + chunk.size
        for part in chunks(self._file, end, chunk.start + 4, self._order):
            if part.start + part.size > end:
                return
            yield part

    def _cue(self, chunk: Chunk) -> None:
        """Take number and frame of each cue point in the audio."""
        head = bytes_at(self._file, chunk.start, min(chunk.size, 4))
        if len(head) < 4:
            return
        count = min(struct.unpack(f"{self._order}I", head)[0], (chunk.size - 4) // 24, MOST_CUE_POINTS)
        octets = bytes_at(self._file, chunk.start + 4, 24 * count)
        whole = octets[: len(octets) // 24 * 24]
        for number, _, name, _, _, frame in struct.iter_unpack(f"{self._order}II4sIII", whole):
            if name == b"data":
                self._points[number] = frame
