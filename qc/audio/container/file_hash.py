"""The digests of a file, worked out while it is heard, so that it is not read twice.

Bytes that were read to be unpacked are handed over as they are; all other bytes of the file are read here, in their
turn. The MD5 of the decoded samples is taken along where a file states one.
"""

from __future__ import annotations

import os
from collections import deque
from pathlib import Path
from typing import Any

from qc.audio.container.digests import AT_ONCE, SAMPLES_MD5, Digests
from qc.audio.container.sample_md5 import Integers, SampleMd5

Handed = tuple[int, memoryview] | None
"""Bytes of a file with the place at which they begin."""


class FileHash:
    """The digests of one file. One thread may ask for steps, another one may take them, both in order."""

    def __init__(self, path: Path, *, md5: bool = False, samples: SampleMd5 | None = None) -> None:
        self.digests: dict[str, str] | None = None
        """once every byte was taken; stays None when the file cannot be read to its end"""
        self._path = path
        self._taken = Digests(md5=md5)
        self._samples = samples
        self._at = 0
        self._steps: deque[tuple[Handed, int | None]] = deque()
        self._file: Any = None
        self._held = memoryview(b"")
        self._size = 0
        self._failed = False

    @property
    def waiting(self) -> bool:
        """Whether a step was requested and not taken."""
        return bool(self._steps)

    def open(self) -> None:
        """Open the file; one that cannot be opened has no digests."""
        try:
            self._file = self._path.open("rb", buffering=0)
            self._size = os.fstat(self._file.fileno()).st_size
        except OSError:
            self._failed = True

    def close(self) -> None:
        """Close the file and let go of what was handed over."""
        if self._file is not None:
            self._file.close()
        self._steps.clear()
        self._held = memoryview(b"")

    def ask(self, share: float, handed: Handed, integers: Integers | None = None) -> None:
        """Ask for one step: up to this share of the file, 1.0 for all that is left; `handed` need not be read.

        `integers` are the samples that were decoded from it, where the decoder gives any.
        """
        if self._samples is not None:
            self._samples.ask(integers)
        self._steps.append((handed, None if share >= 1.0 else int(share * self._size)))

    def step(self) -> None:
        """Take the oldest step that was requested."""
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
        """Take the bytes from where it is to `end`, None for the end of the file."""
        if self._at == end:
            return
        self._held = self._held or memoryview(bytearray(AT_ONCE))
        self._file.seek(self._at)
        while end is None or self._at < end:
            count = self._file.readinto(self._held if end is None else self._held[: end - self._at])
            if not count:
                return
            self._taken.take(self._held[:count])
            self._at += count
