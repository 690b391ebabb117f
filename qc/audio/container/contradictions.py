"""Headers that contradict themselves, the bytes of the file, or what the decoder makes of it.

A decoder takes what it needs from a header and passes over the rest. Where two fields that state the same thing differ,
frames may be lost or shifted, and nothing later would show it. Reads a few KiB of the file at most.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from qc.audio.container.headers import EXTENSIBLE, FLOAT, PCM, Chunk, Header, bytes_at, chunks, real_sizes
from qc.audio.container.streaminfo import StreamInfo, read_streaminfo
from qc.audio.container.trailing_bytes import Audio, behind

_ALL_ONES = 0xFFFFFFFF
_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32, "FLOAT": 32, "DOUBLE": 64}
"""Bits that a decoded sample takes in the file, by libsndfile's name of the coding."""
_OCTETS_OF_FORMAT = 40
_LOOK = 1 << 16
"""Bytes of samples that are examined."""
_ENOUGH = 256
"""Least number of non-zero samples that decides their coding (practice)."""
_LOUDEST = 2.0
"""Sample value that no float programme reaches (practice)."""
_FAINTEST = 1e-7
"""Sample value above which most of a float programme lies: -140 dBFS (practice)."""
_CHUNK_NAMES = {b"fmt ": "format", b"data": "data", b"COMM": "common", b"SSND": "sound"}


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A wrong statement of a header; `sentence` continues after the name of the file."""

    kind: str
    sentence: str
    lost: bool
    """whether frames may be lost or shifted by it"""


@dataclass(frozen=True, slots=True)
class _Stated:
    """Properties of the audio stated by the header, for comparison with those of the decoder."""

    rate: int | Fraction
    channels: int
    bits: int
    """of a sample as it is stored"""
    frames: int | None


def contradictions(path: Path, header: Header, info: Any) -> list[Contradiction]:
    """Compare the fields of a header with each other, with the bytes, and with libsndfile's `info` of the file."""
    if header.note:
        return [_lost(f"has a header that cannot be right: {header.note}")]
    try:
        with path.open("rb", buffering=0) as file:
            size = os.fstat(file.fileno()).st_size
            if header.container in {"WAV", "RF64"}:
                return [*_wave(file, size, header, info)]
            if header.container in {"AIFF", "AIFC"}:
                return [*_aiff(file, size, header, info)]
        if header.container == "FLAC":
            return [*_flac(read_streaminfo(path), info)]
    except (OSError, ValueError, struct.error):
        pass  # what cannot be read any more shows when the file is decoded
    return []


def _lost(sentence: str) -> Contradiction:
    return Contradiction("contradicting header", sentence, lost=True)


def _decoded(stated: _Stated, info: Any) -> Iterator[Contradiction]:
    """Compare what is stated with what the decoder reads."""
    bits = _BITS.get(info.subtype, stated.bits)
    pairs = [
        ("frames", stated.frames, info.frames), ("channels", stated.channels, info.channels),
        ("Hz", stated.rate, info.samplerate), ("bits a sample", stated.bits, bits),
    ]  # fmt: skip
    for unit, says, reads in pairs:
        if says is not None and says != reads:
            number = f"{says:,}" if isinstance(says, int) else f"{float(says):,}"
            yield _lost(f"states {number} {unit} in its header, and {reads:,} {unit} are decoded from it")


# -- WAV and RF64 --------------------------------------------------------------------------------------------


def _wave(file: BinaryIO, size: int, header: Header, info: Any) -> Iterator[Contradiction]:
    kind = bytes_at(file, 0, 4)
    order = ">" if kind == b"RIFX" else "<"
    sizes = real_sizes(file)[0] if header.container == "RF64" else None
    found = [*chunks(file, size, 12, order, sizes)]
    form, data = _first(found, b"fmt "), _first(found, b"data")
    if form is None or data is None:
        return
    yield from _repeated(found, (b"fmt ", b"data"), data)
    octets = bytes_at(file, form.start, min(form.size, _OCTETS_OF_FORMAT))
    tag, channels, rate, a_second, _, bits = struct.unpack(f"{order}HHIIHH", octets[:16])
    if tag == EXTENSIBLE or len(octets) >= 18:
        yield from _extension(tag, bits, form.size, octets, order)
    frame = channels * ((bits + 7) // 8)
    if a_second != rate * frame:
        yield Contradiction(
            "byte rate", f"states {a_second:,} bytes a second, where {rate:,} Hz and frames of {frame} bytes make "
            f"{rate * frame:,}", lost=False,
        )  # fmt: skip
    yield from _decoded(_Stated(rate, channels, -(-bits // 8) * 8, header.frames_stated), info)
    if info.subtype == "PCM_32" and _floats(file, data, order):
        yield _lost("states 32-bit integers in its header, and its samples are 32-bit floats")
    yield from _counted(file, size, found, header, channels, order)
    audio = Audio(data.start + data.size, _riff_end(file, header, order), frame, rate, order)
    yield from _behind(file, size, audio)


def _floats(file: BinaryIO, data: Chunk, order: str) -> bool:
    """Whether 32-bit integers by the header are floats, judged by samples from three places of the audio.

    Read as floats, small negative integers are beyond 2 or no numbers, and small positive ones nearly zero. Music has
    many of both.
    """
    places = (data.size // 16 * quarter * 4 for quarter in (1, 2, 3))
    octets = b"".join(bytes_at(file, data.start + at, min(_LOOK, data.size - at) // 4 * 4) for at in places)
    values = np.frombuffer(octets, f"{order}f4")
    values = values[values != 0.0]
    if len(values) < _ENOUGH:
        return False
    with np.errstate(invalid="ignore"):
        size = np.abs(values)
        return bool((size < _LOUDEST).all() and (size > _FAINTEST).mean() > 0.5)


def _first(found: list[Chunk], name: bytes) -> Chunk | None:
    return next((chunk for chunk in found if chunk.name == name), None)


def _repeated(found: list[Chunk], names: tuple[bytes, ...], audio: Chunk) -> Iterator[Contradiction]:
    """Yield contradictions for chunks that occur twice before the audio; later bytes are judged separately."""
    for name in names:
        if sum(chunk.name == name and chunk.start <= audio.start for chunk in found) > 1:
            yield _lost(f"has its {_CHUNK_NAMES[name]} chunk twice")


def _extension(tag: int, bits: int, stated: int, octets: bytes, order: str) -> Iterator[Contradiction]:
    """Compare the extension of a format chunk with the rest of it."""
    extra = struct.unpack(f"{order}H", octets[16:18])[0] if len(octets) >= 18 else 0
    if tag != EXTENSIBLE:
        if extra > max(0, stated - 18):
            yield _lost(f"states {extra} more bytes in its format chunk than that holds")
        return
    if extra < 22 or len(octets) < _OCTETS_OF_FORMAT:
        yield _lost("has an extensible format chunk that is too short for what it states")
        return
    valid = struct.unpack(f"{order}H", octets[18:20])[0]
    if valid > bits:
        yield _lost(f"states {valid} valid bits in samples of {bits} bits")
    inner = struct.unpack(f"{order}H", octets[24:26])[0]
    if inner not in {PCM, FLOAT}:
        yield _lost(f"states the coding {inner} in its extensible format chunk, which is neither integer nor float")


def _counted(
    file: BinaryIO, size: int, found: list[Chunk], header: Header, channels: int, order: str
) -> Iterator[Contradiction]:
    """Compare the count of frames in a fact or ds64 chunk with that by bytes; some writers count each channel."""
    frames, fact = header.frames_stated, _first(found, b"fact")
    counts = []
    if fact is not None and len(octets := bytes_at(file, fact.start, min(fact.size, 4))) == 4:
        counts.append(("fact", struct.unpack(f"{order}I", octets)[0]))
    if header.container == "RF64":
        counts = [("ds64", real_sizes(file)[1])]
        data = _first([*chunks(file, size, 12, order)], b"data")
        stated = real_sizes(file)[0].get(b"data", 0)
        if data is not None and data.size != _ALL_ONES and stated and stated != data.size:
            yield _lost(f"states {stated:,} bytes of audio in its ds64 chunk and {data.size:,} in its data chunk")
    for name, count in counts:
        if frames is not None and count not in {0, _ALL_ONES, 2**64 - 1, frames, frames * channels}:
            sentence = f"states {count:,} frames in its {name} chunk and {frames:,} by the size of its data chunk"
            yield Contradiction("frame count", sentence, lost=False)


def _riff_end(file: BinaryIO, header: Header, order: str) -> int | None:
    """Return the stated end of the form in bytes, or None where it was left open."""
    stated = struct.unpack(f"{order}I", bytes_at(file, 4, 4))[0]
    if header.container == "RF64" and stated == _ALL_ONES:
        stated = struct.unpack("<Q", bytes_at(file, 20, 8))[0]
    return None if stated in {0, _ALL_ONES, 2**64 - 1} else stated + 8


def _behind(file: BinaryIO, size: int, audio: Audio) -> Iterator[Contradiction]:
    found = behind(file, size, audio)
    if found is not None:
        yield Contradiction("bytes behind the audio", found.sentence, found.lost)


# -- AIFF ----------------------------------------------------------------------------------------------------


def _aiff(file: BinaryIO, size: int, header: Header, info: Any) -> Iterator[Contradiction]:
    found = [*chunks(file, size, 12, ">")]
    common, sound = _first(found, b"COMM"), _first(found, b"SSND")
    if common is None or sound is None:
        return
    yield from _repeated(found, (b"COMM", b"SSND"), sound)
    channels, _, bits, rate = struct.unpack(">HIH10s", bytes_at(file, common.start, 18))
    hertz, width = _extended(rate), -(-bits // 8) * 8
    yield from _decoded(_Stated(hertz, channels, width, header.frames_stated), info)
    stated = struct.unpack(">I", bytes_at(file, 4, 4))[0]
    form_end = None if stated in {0, _ALL_ONES} else stated + 8
    yield from _behind(file, size, Audio(sound.start + sound.size, form_end, channels * width // 8, int(hertz), ">"))


def _extended(octets: bytes) -> Fraction | int:
    """Return the value of an 80-bit float (sign, 15 bits of exponent, 64 of mantissa); -1 where it is no rate."""
    head, mantissa = struct.unpack(">HQ", octets)
    shift = (head & 0x7FFF) - 16383 - 63
    if head & 0x8000 or not -63 <= shift <= 0:
        return -1
    value = Fraction(mantissa, 2**-shift)
    return int(value) if value.denominator == 1 else value


# -- FLAC ----------------------------------------------------------------------------------------------------


def _flac(stream: StreamInfo | None, info: Any) -> Iterator[Contradiction]:
    if stream is None:
        return
    yield from _decoded(_Stated(stream.rate, stream.channels, stream.bits, stream.frames), info)
    first = stream.first
    if first is None:
        yield _lost("has no frame where its audio must begin")
        return
    pairs = [
        ("Hz", stream.rate, first.rate), ("channels", stream.channels, first.channels),
        ("bits a sample", stream.bits, first.bits),
    ]  # fmt: skip
    for unit, says, frame in pairs:
        if frame is not None and says != frame:
            yield _lost(f"states {says:,} {unit} in its header and {frame:,} {unit} in its first frame")
