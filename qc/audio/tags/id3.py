"""The text frames of an ID3v2 tag, as WAV and AIFF files carry it in a chunk.

Pictures are passed over by their length, and compressed frames are never expanded, so a hostile tag takes no memory.
"""

from __future__ import annotations

from typing import BinaryIO

from qc.audio.container.headers import bytes_at
from qc.audio.tags.collected import LONGEST_BYTES, CollectedTags, decoded
from qc.audio.tags.model import About
from qc.audio.tags.names import about_name

_FRAMES: dict[str, tuple[str, About]] = {
    "TIT1": ("TIT1", "text"), "TIT2": ("TIT2", "title"), "TIT3": ("TIT3", "text"), "TALB": ("TALB", "album"),
    "TSRC": ("TSRC", "isrc"), "TRCK": ("TRCK", "track"), "TPOS": ("TPOS", "disc"), "TDRC": ("TDRC", ""),
    "TYER": ("TYER", ""), "TPE1": ("TPE1", ""), "COMM": ("COMM", "text"), "TXXX": ("TXXX", ""),
    "TT2": ("TT2", "title"), "TAL": ("TAL", "album"), "TRC": ("TRC", "isrc"), "TRK": ("TRK", "track"),
    "TPA": ("TPA", "disc"), "COM": ("COM", "text"), "TXX": ("TXX", ""),
}  # fmt: skip
_ENCODINGS = ("latin-1", "utf-16", "utf-16-be", "utf-8")
_MOST_FRAMES = 400
_UNSYNCHRONISED, _EXTENDED = 0x80, 0x40


def read(file: BinaryIO, start: int, end: int, collected: CollectedTags) -> None:
    """Read the text frames of a tag that lies between two bytes of a file."""
    head = bytes_at(file, start, 10)
    if len(head) < 10 or head[:3] != b"ID3" or head[3] not in {2, 3, 4}:
        collected.note("has an ID3 chunk that holds no tag")
        return
    version, flags = head[3], head[5]
    if flags & _UNSYNCHRONISED and version < 4:
        return  # the lengths of its frames are not those in the file
    end = min(end, start + 10 + _synchsafe(head[6:10]))
    at = start + 10
    if flags & _EXTENDED and version > 2:
        octets = bytes_at(file, at, 4)
        at += _synchsafe(octets) if version == 4 else 4 + int.from_bytes(octets, "big")
    wide = 6 if version == 2 else 10
    for _ in range(_MOST_FRAMES):
        frame = bytes_at(file, at, wide)
        if at + wide > end or len(frame) < wide or not frame[0]:
            return
        length = _length(frame, version)
        if at + wide + length > end:
            collected.note("has an ID3 frame that is longer than its tag")
            return
        name = frame[: 3 if version == 2 else 4].decode("latin-1")
        if name in _FRAMES and not _coded(frame, version):
            _text(name, bytes_at(file, at + wide, min(length, LONGEST_BYTES)), collected)
        at += wide + length


def _coded(frame: bytes, version: int) -> bool:
    """Whether a frame is compressed, encrypted, or begins with something other than its text."""
    return version > 2 and bool(frame[9] & (0x4F if version == 4 else 0xE0))


def _length(frame: bytes, version: int) -> int:
    if version == 2:
        return int.from_bytes(frame[3:6], "big")
    return _synchsafe(frame[4:8]) if version == 4 else int.from_bytes(frame[4:8], "big")


def _synchsafe(octets: bytes) -> int:
    """Return a number of seven bits a byte."""
    number = 0
    for octet in octets:
        number = number << 7 | octet & 0x7F
    return number


def _text(name: str, octets: bytes, collected: CollectedTags) -> None:
    """Add a text frame; those with a description state the key in it."""
    if not octets or octets[0] >= len(_ENCODINGS):
        collected.note("has an ID3 frame whose text cannot be read")
        return
    encoding, octets = _ENCODINGS[octets[0]], octets[1:]
    wide = encoding.startswith("utf-16")
    key, about = _FRAMES[name]
    if name in {"COMM", "COM"}:
        _, octets = _split(octets[3:], wide=wide)
    elif name in {"TXXX", "TXX"}:
        described, octets = _split(octets, wide=wide)
        key = decoded(described, encoding)
        about = about_name(key)
    while octets:
        value, octets = _split(octets, wide=wide)
        collected.add("ID3", key, decoded(value, encoding), about)


def _split(octets: bytes, *, wide: bool) -> tuple[bytes, bytes]:
    """Divide a text at its first terminator, one zero byte, or two at an even place."""
    if not wide:
        first, _, rest = octets.partition(b"\0")
        return first, rest
    for at in range(0, len(octets) - 1, 2):
        if octets[at : at + 2] == b"\0\0":
            return octets[:at], octets[at + 2 :]
    return octets, b""
