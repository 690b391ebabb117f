"""The digests of a file, computed while it is decoded, so that it is not read twice.

Bytes read by the decoder are passed on; all other bytes of the file are read here, in order. The MD5 of the decoded
samples is computed too where a file states one.
"""

from __future__ import annotations

import os
from collections import deque
from pathlib import Path
from typing import Any

from qc.audio.container.digests import AT_ONCE, SAMPLES_MD5, Digests
from qc.audio.container.sample_md5 import Integers, SampleMd5

Handed = tuple[int, memoryview] | None
"""Offset of bytes in a file, and the bytes."""


class FileHash:
    """The digests of one file. One thread may request steps and another may run them, both in order."""

    def __init__(self, path: Path, *, md5: bool = False, samples: SampleMd5 | None = None) -> None:
        self.digests: dict[str, str] | None = None
        """set after the last byte; None where the file cannot be read to its end"""
        self._path = path
        self._taken = Digests(md5=md5)
        self._samples = samples
        self._at = 0
        self._steps: deque[tuple[Handed, int | None]] = deque()
        self._file: Any = None
        self._buffer = memoryview(b"")
        self._size = 0
        self._failed = False

    @property
    def waiting(self) -> bool:
        """Whether a requested step has not run yet."""
        return bool(self._steps)

    def open(self) -> None:
        """Open the file; one that cannot be opened has no digests."""
        try:
            self._file = self._path.open("rb", buffering=0)
            self._size = os.fstat(self._file.fileno()).st_size
        except OSError:
            self._failed = True

    def close(self) -> None:
        """Close the file and release the bytes of the decoder."""
        if self._file is not None:
            self._file.close()
        self._steps.clear()
        self._buffer = memoryview(b"")

    def ask(self, share: float, handed: Handed, integers: Integers | None = None) -> None:
        """Request one step: up to this share of the file, 1.0 for the rest; the bytes `handed` are not read again.

        `integers` are the samples that were decoded from it, where the decoder gives any.
        """
        if self._samples is not None:
            self._samples.ask(integers)
        self._steps.append((handed, None if share >= 1.0 else int(share * self._size)))

    def step(self) -> None:
        """Run the oldest requested step."""
        handed, end = self._steps.popleft()
        if self._samples is not None:
            self._samples.step()
        if self._failed:
            return
        try:
            self._step(handed, end)
        except (OSError, ValueError):  # ValueError: it was closed meanwhile
            self._failed = True

    def _step(self, handed: Handed, end: int | None) -> None:
        if handed is not None:
            start, octets = handed
            self._read_to(start)
            self._taken.take(octets)
            self._at = start + len(octets)
        if end is None or handed is None:
            self._read_to(end)
        if end is None:
            self.digests = self._taken.hexadecimal()
            if self._samples is not None:
                self.digests[SAMPLES_MD5] = self._samples.hexadecimal()

    def _read_to(self, end: int | None) -> None:
        """Hash the bytes from the current offset to `end`, None for the end of the file."""
        if self._at == end:
            return
        self._buffer = self._buffer or memoryview(bytearray(AT_ONCE))
        self._file.seek(self._at)
        while end is None or self._at < end:
            count = self._file.readinto(self._buffer if end is None else self._buffer[: end - self._at])
            if not count:
                return
            self._taken.take(self._buffer[:count])
            self._at += count
