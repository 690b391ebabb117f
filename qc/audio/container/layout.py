"""Layout and coding of the samples of a plain WAV or RF64 file, which is read without a library.

Only regular files have a layout; a library reads all others.
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal

from qc.audio.container.headers import EXTENSIBLE, FLOAT, PCM, bytes_at, chunks, real_sizes

Coding = Literal["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]

_CODINGS: dict[tuple[int, int], Coding] = {
    (PCM, 16): "PCM_16", (PCM, 24): "PCM_24", (PCM, 32): "PCM_32", (FLOAT, 32): "FLOAT", (FLOAT, 64): "DOUBLE",
}  # fmt: skip
_OF_TAG = bytes.fromhex("000000001000800000aa00389b71")
"""The rest of an extensible format identifier whose format tag alone names the coding."""


@dataclass(frozen=True, slots=True)
class PcmLayout:
    """Consecutive little-endian samples with interleaved channels."""

    coding: Coding
    rate: int
    """frames a second"""
    channels: int
    start: int
    """byte of the file at which the first frame begins"""
    frames: int

    @property
    def frame(self) -> int:
        """Bytes of a frame."""
        return self.channels * {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}[self.coding]


def read_layout(path: Path) -> PcmLayout | None:
    """Read the layout of a plain file of one or two channels; None where it is not plain, or cannot be read."""
    try:
        with path.open("rb", buffering=0) as file:
            return _layout(file, os.fstat(file.fileno()).st_size)
    except (OSError, ValueError, struct.error):
        return None


def _layout(file: BinaryIO, size: int) -> PcmLayout | None:
    begin = bytes_at(file, 0, 12)
    if begin[8:] != b"WAVE" or begin[:4] not in {b"RIFF", b"RF64", b"BW64"}:
        return None
    sizes = {} if begin[:4] == b"RIFF" else real_sizes(file)[0]
    if begin[:4] != b"RIFF" and not sizes:
        return None
    found = [chunk for chunk in chunks(file, size, 12, "<", sizes) if chunk.name in {b"fmt ", b"data"}]
    if [chunk.name for chunk in found] != [b"fmt ", b"data"]:  # in this order, and each once
        return None
    form, data = found
    coding = _coding(bytes_at(file, form.start, min(form.size, 40)))
    if coding is None:
        return None
    layout = PcmLayout(*coding, data.start, 0)
    if data.size == 0 or data.size % layout.frame or data.start + data.size > size:
        return None
    return PcmLayout(*coding, data.start, data.size // layout.frame)


def _coding(form: bytes) -> tuple[Coding, int, int] | None:
    """Return coding, rate and channels of a regular format chunk, else None."""
    if len(form) < 16:
        return None
    tag, channels, rate, _, block, bits = struct.unpack("<HHIIHH", form[:16])
    if tag == EXTENSIBLE:
        if len(form) < 40 or form[26:40] != _OF_TAG:
            return None
        tag = struct.unpack("<H", form[24:26])[0]
    coding = _CODINGS.get((tag, bits))
    if coding is None or channels not in {1, 2} or block != channels * bits // 8:
        return None
    return coding, rate, channels
