"""Read the STREAMINFO block of a FLAC file and the header of its first frame.

RFC 9639, sections 8.2 and 9.1. Reads a few bytes at fixed places, and raises OSError only.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from qc.audio.container.headers import bytes_at, flac_start

_MOST_BLOCKS = 400
_RATES = {1: 88_200, 2: 176_400, 3: 192_000, 4: 8_000, 5: 16_000, 6: 22_050, 7: 24_000, 8: 32_000, 9: 44_100,
          10: 48_000, 11: 96_000}  # fmt: skip
"""Code of a frame header -> frames a second; 12 to 14: the rate follows the header, 0: the rate of the stream."""
_BITS = {1: 8, 2: 12, 4: 16, 5: 20, 6: 24, 7: 32}
_STEREO = range(8, 11)
"""Codes of two channels of which one or both are stored as differences."""


@dataclass(frozen=True, slots=True)
class FrameHeader:
    """Stream properties stated by a frame; None where they are those of STREAMINFO."""

    rate: int | None
    channels: int
    bits: int | None


@dataclass(frozen=True, slots=True)
class StreamInfo:
    """The contents of STREAMINFO; `frames` and `md5` are None where it does not state them."""

    rate: int
    channels: int
    bits: int
    frames: int | None
    md5: str | None
    """of the decoded samples, 32 small hex digits"""
    first: FrameHeader | None
    """header of the first frame; None where no frame follows the metadata"""


def read_streaminfo(path: Path) -> StreamInfo | None:
    """Read STREAMINFO and the first frame header of a FLAC file; None for any other file. Raises OSError."""
    with path.open("rb", buffering=0) as file:
        start = flac_start(file)
        info = bytes_at(file, start + 4, 38)
        if bytes_at(file, start, 4) != b"fLaC" or len(info) < 38 or info[0] & 0x7F:
            return None
        packed = int.from_bytes(info[14:22], "big")
        return StreamInfo(
            rate=packed >> 44,
            channels=(packed >> 41 & 7) + 1,
            bits=(packed >> 36 & 31) + 1,
            frames=packed & (2**36 - 1) or None,
            md5=info[22:38].hex() if any(info[22:38]) else None,
            first=_first_frame(file, start + 4),
        )


def _first_frame(file: BinaryIO, start: int) -> FrameHeader | None:
    """Read the header of the frame behind the metadata blocks, the first of which begins at `start`."""
    for _ in range(_MOST_BLOCKS):
        head = bytes_at(file, start, 4)
        if len(head) < 4:
            return None
        start += 4 + int.from_bytes(head[1:], "big")
        if head[0] & 0x80:
            return frame_header(bytes_at(file, start, 16))
    return None


def frame_header(octets: bytes) -> FrameHeader | None:
    """Read a frame header, at most 16 bytes; None where these are none, or damaged (CRC-8)."""
    length = header_length(octets)
    if length is None:
        return None
    rate, channels, bits = octets[2] & 15, octets[3] >> 4, octets[3] >> 1 & 7
    stated = _RATES.get(rate)
    if rate == 12:
        stated = octets[length - 2] * 1000
    elif rate in {13, 14}:
        stated = struct.unpack(">H", octets[length - 3 : length - 1])[0] * (10 if rate == 14 else 1)
    return FrameHeader(stated, 2 if channels in _STEREO else channels + 1, _BITS.get(bits))


def header_length(octets: bytes) -> int | None:
    """Return the length in bytes of a frame header with its CRC-8; None for damaged or other bytes."""
    if len(octets) < 6 or octets[0] != 0xFF or octets[1] & 0xFE != 0xF8:
        return None
    size, rate, first = octets[2] >> 4, octets[2] & 15, octets[4]
    ones = 8 - (first ^ 0xFF).bit_length()  # bytes of the coded number, as in UTF-8
    if size == 0 or rate == 15 or octets[3] >> 4 > 10 or octets[3] & 1 or ones in {1, 8}:
        return None
    length = 4 + max(1, ones) + {6: 1, 7: 2}.get(size, 0) + {12: 1, 13: 2, 14: 2}.get(rate, 0) + 1
    if len(octets) < length or _crc8(octets[: length - 1]) != octets[length - 1]:
        return None
    return length


def _crc8(octets: bytes) -> int:
    """Compute the CRC-8 of a frame header: polynomial x^8 + x^2 + x + 1, beginning with zero."""
    value = 0
    for octet in octets:
        value ^= octet
        for _ in range(8):
            value = (value << 1 ^ (0x107 if value & 0x80 else 0)) & 0xFF
    return value
