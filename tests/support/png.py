"""PNG read back as pixels, by what the standard says (ISO/IEC 15948): eight bits, RGBA, not interlaced."""

from __future__ import annotations

import struct
import zlib

import numba
import numpy as np


def pixels(held):
    """Give the pixels of a PNG, (height, width, 4); every checksum must hold."""
    assert held[:8] == b"\x89PNG\r\n\x1a\n"
    at, data, head = 8, b"", None
    while at < len(held):
        (length,) = struct.unpack_from(">I", held, at)
        kind, content = held[at + 4 : at + 8], held[at + 8 : at + 8 + length]
        assert struct.unpack_from(">I", held, at + 8 + length)[0] == zlib.crc32(kind + content)
        if kind == b"IHDR":
            head = struct.unpack(">IIBBBBB", content)
        elif kind == b"IDAT":
            data += content
        at += 12 + length
    assert kind == b"IEND"
    width, height, *coding = head
    assert coding == [8, 6, 0, 0, 0]
    lines = np.frombuffer(zlib.decompress(data), np.uint8).reshape(height, 1 + 4 * width)
    out = np.zeros((height + 1, 4 * width + 4), np.uint8)
    _unfilter(lines, out)
    return out[1:, 4:].reshape(height, width, 4)


@numba.njit
def _unfilter(lines, out):
    """Take back the five filters; row 0 and the first pixel of `out` stay zero."""
    for y in range(lines.shape[0]):
        kind = lines[y, 0]
        for x in range(lines.shape[1] - 1):
            left, up, corner = np.int64(out[y + 1, x]), np.int64(out[y, x + 4]), np.int64(out[y, x])
            add = 0
            if kind == 1:
                add = left
            elif kind == 2:
                add = up
            elif kind == 3:
                add = (left + up) // 2
            elif kind == 4:
                guess = left + up - corner
                off_left, off_up, off_corner = abs(guess - left), abs(guess - up), abs(guess - corner)
                add = left if off_left <= off_up and off_left <= off_corner else up if off_up <= off_corner else corner
            out[y + 1, x + 4] = (np.int64(lines[y, x + 1]) + add) & 255
