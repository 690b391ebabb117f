"""Read the header of an audio file with our own parser, which recognises truncated files.

Libraries that decode audio silently shorten a truncated file. This parser returns both the stated length and the
bytes present. Only chunk headers are read; nothing is trusted, and nothing raises.
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO, Literal

from qc.files.bounded_read import FileFault, UnreadableFileError, open_plain

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

Container = Literal["WAV", "RF64", "AIFF", "AIFC", "FLAC"]

_MOST_CHUNKS = 400  # headers of 8 bytes: a few KiB at most
_ALL_ONES = 0xFFFFFFFF
_ENDS_EARLY = "the file ends inside its header, before any audio"
_LEFT_OPEN = "the header leaves the length open, as a streamed file does"
PCM, FLOAT, _ALAW, _MULAW, EXTENSIBLE = 1, 3, 6, 7, 0xFFFE
_AIFC_FIXED = frozenset({b"NONE", b"sowt", b"twos", b"in24", b"in32", b"fl32", b"FL32", b"fl64", b"FL64",
                         b"alaw", b"ALAW", b"ulaw", b"ULAW", b"raw "})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Header:
    """The length stated by a header and the bytes present; None where they cannot be determined."""

    container: Container | None
    frames_stated: int | None = None
    data_bytes_stated: int | None = None
    data_bytes_there: int | None = None
    """bytes of audio between the place where they begin and the end of the file, at most those stated"""
    note: str = ""
    """what is odd about the header, in words; empty when nothing is"""

    @property
    def left_open(self) -> bool:
        """Whether the header leaves the length open, as one written to a pipe does."""
        return self.note == _LEFT_OPEN

    @property
    def cut_off(self) -> bool:
        """Whether the header states more audio than the file holds."""
        stated, there = self.data_bytes_stated, self.data_bytes_there
        return stated is not None and there is not None and stated > there


@dataclass(frozen=True, slots=True)
class Chunk:
    """A chunk of a RIFF or IFF file: its name, its stated size in bytes, and the byte at which its content begins."""

    name: bytes
    size: int
    start: int


_NOTES: dict[FileFault, str] = {
    "missing": "there is no such file",
    "folder": "this is not a plain file",
    "special": "this is not a plain file",
}


def read_header(path: Path) -> Header:
    """Read the header of a WAV, RF64 (BW64), AIFF, AIFC or FLAC file.

    Anything else, and what cannot be read, has container None and a note. Reads a few KiB at most and never
    blocks: what is not a plain file is not opened.
    """
    try:
        with open_plain(path) as file:
            return _parse(file, os.fstat(file.fileno()).st_size)
    except UnreadableFileError as fault:
        return Header(None, note=_NOTES.get(fault.fault, f"the file {fault}"))
    except (OSError, ValueError) as why:
        return Header(None, note=f"the file cannot be read ({getattr(why, 'strerror', None) or why})")


def _parse(file: BinaryIO, size: int) -> Header:
    begin = bytes_at(file, 0, 12)
    if not begin:
        return Header(None, note="the file is empty")
    kind, form = begin[:4], begin[8:12]
    if form == b"WAVE" and kind in {b"RIFF", b"RIFX", b"RF64", b"BW64"}:
        return _rf64(file, size) if kind[2:] == b"64" else _wave(file, size, ">" if kind == b"RIFX" else "<")
    if kind == b"FORM" and form in {b"AIFF", b"AIFC"}:
        return _aiff(file, size, "AIFF" if form == b"AIFF" else "AIFC")
    if kind == b"fLaC" or kind[:3] == b"ID3":
        return _flac(file, size)
    if kind in {b"RIFF", b"RIFX", b"RF64", b"BW64", b"FORM"} and len(begin) < 12:
        return Header(None, note=_ENDS_EARLY)
    return Header(None, note="this is not a WAV, RF64, AIFF, AIFC or FLAC file")


def bytes_at(file: BinaryIO, start: int, count: int) -> bytes:
    """Read at most `count` bytes from `start`; fewer at the end of the file."""
    file.seek(start)
    return file.read(count)


def chunks(file: BinaryIO, size: int, start: int, order: str, sizes: dict[bytes, int] | None = None) -> Iterator[Chunk]:
    """Yield the chunks of a RIFF or IFF file that begin inside it; `sizes` replace a size of -1."""
    for _ in range(_MOST_CHUNKS):
        head = bytes_at(file, start, 8)
        if len(head) < 8:
            return
        name, length = struct.unpack(f"{order}4sI", head)
        if length == _ALL_ONES and sizes is not None:
            length = sizes.get(name, length)
        yield Chunk(name, length, start + 8)
        start += 8 + length + length % 2
        if start >= size:
            return


# -- WAV ---------------------------------------------------------------------------------------------------


def _wave(file: BinaryIO, size: int, order: str) -> Header:
    riff = struct.unpack(f"{order}I", bytes_at(file, 4, 4))[0]
    form, fact, data = _wave_chunks(file, size, order, None)
    if data is None:
        return Header("WAV", note=_missing(form, size, riff + 8))
    there = max(0, size - data.start)
    if _streamed(data.size, riff, there, riff + 8 < size):
        return Header("WAV", None, None, there, _LEFT_OPEN)
    return _measured("WAV", form, fact, data.size, there, order)


def _rf64(file: BinaryIO, size: int) -> Header:
    """Read RF64 or BW64, whose first chunk, ds64, holds the sizes written as -1."""
    sizes, samples = real_sizes(file)
    if not sizes:
        return Header("RF64", note="the ds64 chunk with the real sizes is missing" if size >= 48 else _ENDS_EARLY)
    form, _, data = _wave_chunks(file, size, "<", sizes)
    if data is None:
        return Header("RF64", note=_missing(form, size, size))
    there = max(0, size - data.start)
    if data.size in {_ALL_ONES, 2**64 - 1} or (data.size == 0 and there):
        return Header("RF64", None, None, there, _LEFT_OPEN)
    return _measured("RF64", form, struct.pack("<I", min(samples, _ALL_ONES)), data.size, there, "<")


def real_sizes(file: BinaryIO) -> tuple[dict[bytes, int], int]:
    """Read an RF64 file's ds64 chunk: bytes of chunks by name, and frames; no sizes where there is none."""
    head = bytes_at(file, 12, 8)
    body = bytes_at(file, 20, 28)
    if head[:4] != b"ds64" or len(body) < 24:
        return {}, 0
    _, data_size, samples = struct.unpack("<QQQ", body[:24])
    sizes = {b"data": data_size}
    if len(body) == 28:
        rows = min(struct.unpack("<I", body[24:])[0], 64)
        table = bytes_at(file, 48, 12 * rows)
        for name, length in struct.iter_unpack("<4sQ", table[: len(table) // 12 * 12]):
            sizes.setdefault(name, length)
    return sizes, samples


def _wave_chunks(
    file: BinaryIO, size: int, order: str, sizes: dict[bytes, int] | None
) -> tuple[bytes, bytes, Chunk | None]:
    """Find the first bytes of the fmt and fact chunks, and the data chunk; the first of each counts."""
    form, fact, data = b"", b"", None
    for chunk in chunks(file, size, 12, order, sizes):
        if chunk.name == b"fmt " and not form:
            form = bytes_at(file, chunk.start, min(chunk.size, 40))
        elif chunk.name == b"fact" and not fact:
            fact = bytes_at(file, chunk.start, min(chunk.size, 4))
        elif chunk.name == b"data" and data is None:
            data = chunk
        if data is not None and len(form) >= 16:
            break
    return form, fact, data


def _streamed(stated: int, riff: int, there: int, riff_ends_early: bool) -> bool:
    """Whether a writer to a stream left the length open."""
    if stated in {_ALL_ONES, 0x7FFFFFFF, 0x80000000} or (riff == _ALL_ONES and stated >= 0xFFFFFF00):
        return there != stated
    if stated == 0:  # an honest empty file may still have chunks behind its data
        return there > 0 and riff_ends_early
    # Some writers to pipes state as many whole frames as fit below this round number.
    return 0x7FFFF000 - 0x100 < stated <= 0x7FFFF000 and there < stated


def _measured(container: Container, form: bytes, fact: bytes, stated: int, there: int, order: str) -> Header:
    """Count the frames of a WAV or RF64 file by its format chunk."""
    there, notes, frames = min(stated, there), [], None
    if len(form) < 16:
        return Header(container, None, stated, there, "the format chunk is missing or too short")
    tag, channels, _, _, block, bits = struct.unpack(f"{order}HHIIHH", form[:16])
    if tag == EXTENSIBLE and len(form) >= 26:
        tag = struct.unpack(f"{order}H", form[24:26])[0]
    if tag in {PCM, FLOAT, _ALAW, _MULAW}:
        frame = channels * ((bits + 7) // 8)
        if block != frame:
            notes.append(f"the format chunk states frames of {block} bytes, but {channels} channels of {bits} bits")
        block = block or frame
        frames = stated // block if block else None
        if not block:
            notes.append("the format chunk states frames of no bytes")
        elif stated % block:
            notes.append("the audio does not end on a whole frame")
    elif len(fact) == 4:
        frames = struct.unpack(f"{order}I", fact)[0]
        frames = None if frames in {0, _ALL_ONES} else frames
    return Header(container, frames, stated, there, "; ".join(notes))


def _missing(form: bytes, size: int, end: int) -> str:
    if size < end or not form:
        return _ENDS_EARLY if size < end or size < 44 else "the format and the audio are missing"
    return "the audio is missing"


# -- AIFF ----------------------------------------------------------------------------------------------------


def _aiff(file: BinaryIO, size: int, container: Literal["AIFF", "AIFC"]) -> Header:
    """Read AIFF or AIFC: the COMM chunk has the frames, the SSND chunk the bytes."""
    common, sound = b"", None
    for chunk in chunks(file, size, 12, ">"):
        if chunk.name == b"COMM" and not common:
            common = bytes_at(file, chunk.start, min(chunk.size, 22))
        elif chunk.name == b"SSND" and sound is None:
            sound = chunk
        if sound is not None and len(common) >= 18:
            break
    frames, frame = _aiff_frames(common, container)
    head = bytes_at(file, sound.start, 8) if sound else b""
    if sound is None or len(head) < 8:
        ends = struct.unpack(">I", bytes_at(file, 4, 4))[0] + 8
        if frames == 0 and size >= ends:  # a file without frames needs no sound chunk
            return Header(container, 0, 0, 0)
        return Header(container, frames, note=_ENDS_EARLY if sound or size < ends else "the audio is missing")
    offset = struct.unpack(">I", head[:4])[0]
    stated, there = max(0, sound.size - 8 - offset), max(0, size - sound.start - 8 - offset)
    if _aiff_streamed(frames, sound.size, there):
        return Header(container, None, None, there, _LEFT_OPEN)
    note = "" if frames is not None else "the common chunk is missing or too short"
    if frame and frames is not None and frames * frame != stated:
        note = f"the header states {frames} frames of {frame} bytes, but {stated} bytes of audio"
    return Header(container, frames, stated, min(stated, there), note)


def _aiff_frames(common: bytes, container: Container) -> tuple[int | None, int | None]:
    """Return the frames stated by COMM, and the bytes of a frame where the coding has a fixed size."""
    if len(common) < 18:
        return None, None
    channels, frames, bits = struct.unpack(">HIH", common[:8])
    fixed = container == "AIFF" or common[18:22] in _AIFC_FIXED
    return frames, channels * ((bits + 7) // 8) if fixed else None


def _aiff_streamed(frames: int | None, sound_size: int, there: int) -> bool:
    """Whether the length was left open; some writers state a round number near 0x7f000000."""
    if sound_size in {_ALL_ONES, 0x7FFFFFFF} or frames == _ALL_ONES:
        return True
    if sound_size <= 8 or frames == 0:
        return there > 0
    return 0x7F000000 - 0x100 < sound_size <= 0x7F000000 + 0x100 and there < sound_size - 8


# -- FLAC ----------------------------------------------------------------------------------------------------


def _flac(file: BinaryIO, size: int) -> Header:
    """Read FLAC, behind ID3v2 tags if there are any; the bytes of its audio are stated nowhere."""
    start = flac_start(file)
    if bytes_at(file, start, 4) != b"fLaC":
        return Header(None, note="this is not a FLAC file, though it begins like one with a tag")
    start += 4
    frames: int | None = None
    for number in range(_MOST_CHUNKS):
        head = bytes_at(file, start, 4)
        if len(head) < 4:
            return Header("FLAC", frames, None, 0, _ENDS_EARLY)
        length = int.from_bytes(head[1:], "big")
        if number == 0:
            info = bytes_at(file, start + 4, 18)
            if head[0] & 0x7F or length < 34 or len(info) < 18:
                return Header("FLAC", note="the stream information is missing or too short")
            frames = int.from_bytes(info[13:18], "big") & (2**36 - 1) or None
        start += 4 + length
        if head[0] & 0x80:
            break
    there = max(0, size - start)
    if start > size:
        return Header("FLAC", frames, None, 0, _ENDS_EARLY)
    return Header("FLAC", frames, None, there, "" if frames else _LEFT_OPEN)


def flac_start(file: BinaryIO) -> int:
    """Find the byte at which a FLAC stream begins, behind ID3v2 tags if there are any."""
    start = 0
    for _ in range(4):
        tag = bytes_at(file, start, 10)
        if tag[:3] != b"ID3" or len(tag) < 10:
            break
        length = sum((byte & 0x7F) << shift for byte, shift in zip(tag[6:10], (21, 14, 7, 0), strict=True))
        start += 10 + length + (10 if tag[5] & 0x10 else 0)
    return start
