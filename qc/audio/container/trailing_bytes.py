"""Judge the bytes after the audio of a RIFF or IFF file: chunks, padding, or audio that the header does not count."""

from __future__ import annotations

from dataclasses import dataclass
from typing import BinaryIO

from qc.audio.container.headers import bytes_at, chunks
from qc.model.quantity import clock

LOST_S = 1
"""Seconds of audio that bytes outside the form must have room for before they are taken for lost audio (practice): tags
and blocks of padding are shorter."""
_LOOK = 1 << 16
"""Bytes that are examined at each place."""
_PLACES = 64
"""Most places of a long stretch that are examined."""
_CHUNKS_BESIDES_AUDIO = frozenset({
    b"LIST", b"bext", b"cue ", b"smpl", b"inst", b"id3 ", b"ID3 ", b"iXML", b"axml", b"aXML", b"chna", b"fact", b"PEAK",
    b"JUNK", b"junk", b"PAD ", b"FLLR", b"minf", b"elm1", b"regn", b"umid", b"DGDA", b"qlty", b"mext", b"levl", b"link",
    b"cart", b"acid", b"DISP", b"_PMX", b"LGWV", b"afsp", b"NAME", b"AUTH", b"(c) ", b"ANNO", b"COMT", b"MARK", b"INST",
    b"APPL", b"AESD", b"MIDI", b"CHAN", b"FVER", b"bmrk", b"ovwf", b"plst", b"note", b"labl",
})  # fmt: skip
_AUDIO = (b"data", b"SSND", b"RIFF", b"RIFX", b"RF64", b"BW64", b"FORM", b"fLaC")
"""First bytes of further audio."""


@dataclass(frozen=True, slots=True)
class Audio:
    """The place of the audio in a file."""

    end: int
    """byte behind the last one that the header counts"""
    form_end: int | None
    """byte at which the whole form ends as its header states it; None where it states none"""
    frame: int
    """bytes of a frame"""
    rate: int
    """frames a second"""
    order: str
    """byte order of chunk sizes, as `struct` writes it"""


@dataclass(frozen=True, slots=True)
class TrailingBytes:
    """A fault of the bytes after the audio; `lost` says whether audio may be lost."""

    sentence: str
    lost: bool


def behind(file: BinaryIO, size: int, audio: Audio) -> TrailingBytes | None:
    """Judge the bytes between the audio and the end of a file of `size` bytes; None where they are regular.

    Whole chunks are regular, with or without the pad byte behind an odd number of bytes, and so is a single byte.
    """
    starts = (audio.end + audio.end % 2, audio.end)  # headers take an even number of bytes
    at = max(_walk(file, size, start, audio.order) for start in starts)
    if size - at <= 1:
        return None
    name = bytes_at(file, at, 4)
    if name in _AUDIO:
        return TrailingBytes(f"holds a second {_text(name)} behind its audio, which is not played", lost=True)
    if name in _CHUNKS_BESIDES_AUDIO:
        return TrailingBytes(f"ends inside its chunk {_text(name)}, behind the audio", lost=False)
    return _no_chunk(file, size, at, audio)


def _no_chunk(file: BinaryIO, size: int, at: int, audio: Audio) -> TrailingBytes:
    """Judge bytes from `at` to the end of the file that are no chunk."""
    rest = size - at
    says = f"holds {rest:,} bytes behind its audio that are no chunk"
    inside = 0 if audio.form_end is None else min(size, audio.form_end) - at
    padding = _only_zeros(file, at, size)
    if audio.frame and inside >= audio.frame and not padding:
        return TrailingBytes(f"{says} and that its header counts as its own{_sound(inside, audio)}", lost=True)
    if audio.frame and not padding and rest >= LOST_S * audio.rate * audio.frame:
        return TrailingBytes(says + _sound(rest, audio), lost=True)
    return TrailingBytes(f"{says}, all zero" if padding else says, lost=False)


def _sound(octets: int, audio: Audio) -> str:
    return f": as sound they would last {clock(octets / audio.frame / audio.rate)}"


def _walk(file: BinaryIO, size: int, start: int, order: str) -> int:
    """Return the byte at which the whole chunks from `start` on end; a chunk that holds audio ends the walk."""
    at = start
    for chunk in chunks(file, size, start, order):
        end = chunk.start + chunk.size
        if end > size or chunk.name in _AUDIO or not all(0x20 <= byte < 0x7F for byte in chunk.name):
            break
        at = end + chunk.size % 2
    return min(at, size)


def _only_zeros(file: BinaryIO, at: int, size: int) -> bool:
    """Whether bytes are zero: all of them, or of a long stretch those at its ends and at even steps between."""
    step = max(_LOOK, (size - at) // _PLACES)
    places = [*range(at, size, step), max(at, size - _LOOK)]
    return not any(any(bytes_at(file, place, _LOOK)) for place in places)


def _text(name: bytes) -> str:
    return name.decode("ascii").strip()
