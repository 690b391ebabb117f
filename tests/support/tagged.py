"""WAV files with chunks made by hand, as EBU Tech 3285 and the RIFF specification lay them out."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from pathlib import Path

import numpy as np


def chunk(name: bytes, content: bytes, order: str = "<") -> bytes:
    """A chunk with its pad byte."""
    return struct.pack(f"{order}4sI", name, len(content)) + content + bytes(len(content) % 2)


def bext(description: str = "", date: str = "", *, reference: int = 0, loudness: Sequence[int] = (), history=b""):
    """A bext chunk: version 2 where five levels in hundredths are given, else 1."""
    head = struct.pack(
        "<256s32s32s10s8sQH64s", description.encode(), b"", b"", date.encode(), b"10:00:00", reference,
        2 if loudness else 1, b"",
    )  # fmt: skip
    return chunk(b"bext", head + struct.pack("<5h", *(loudness or [0] * 5)) + bytes(180) + history)


def info(**texts: str) -> bytes:
    """A LIST chunk of kind INFO."""
    return chunk(b"LIST", b"INFO" + b"".join(chunk(k.encode(), v.encode() + b"\0") for k, v in texts.items()))


def cue(frames: Sequence[int], labels: Sequence[str] = ()) -> bytes:
    """A cue chunk with its points at frames, and the list of their labels."""
    points = b"".join(struct.pack("<II4sIII", i, frame, b"data", 0, 0, frame) for i, frame in enumerate(frames, 1))
    texts = b"".join(chunk(b"labl", struct.pack("<I", i) + label.encode() + b"\0") for i, label in enumerate(labels, 1))
    return chunk(b"cue ", struct.pack("<I", len(frames)) + points) + (
        chunk(b"LIST", b"adtl" + texts) if labels else b""
    )


def wav(
    path: Path, *chunks: bytes, samples: np.ndarray | None = None, rate: int = 48_000, behind: bool = False
) -> Path:
    """Write a stereo WAV of 16 bits with further chunks, before the audio or behind it; 1 s of silence by default."""
    x = np.zeros((2, rate)) if samples is None else samples
    data = chunk(b"data", np.round(x.T * 32767).astype("<i2").tobytes())
    form = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 2, rate, 4 * rate, 4, 16))
    body = b"WAVE" + form + (data + b"".join(chunks) if behind else b"".join(chunks) + data)
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    return path
