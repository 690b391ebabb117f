"""The MD5 that a FLAC file states of its own samples, compared with what was decoded in the same pass.

It is taken over the decoded samples as little-endian signed integers of the file's bit depth, channels interleaved
(RFC 9639, section 8.2).
"""

from __future__ import annotations

import hashlib
from collections import deque

import numpy as np
from numpy.typing import NDArray

from qc.audio.buffers import Buffers
from qc.dsp.samples import pack

Integers = NDArray[np.int32]
"""(frames, channels), C order; a sample of any bit depth lies in the upper bits."""
_AT_ONCE = 1 << 17
"""Samples packed at once."""


class SampleMd5:
    """The MD5 of all samples of a file. One thread may ask for steps, another one may take them, both in order."""

    def __init__(self, bits: int) -> None:
        """Begin; `bits` is 16 or 24."""
        self._width = bits // 8
        self._pack = {16: pack.octets16, 24: pack.octets24}[bits]
        self._digest = hashlib.md5(usedforsecurity=False)
        self._asked: deque[Integers | None] = deque()
        self._packed = Buffers((self._width * _AT_ONCE,), np.uint8, 1)

    def ask(self, samples: Integers | None) -> None:
        """Ask for one step that takes these samples, if there are any; they must stay as they are until then."""
        self._asked.append(samples)

    def step(self) -> None:
        """Take the samples of the oldest step that was requested; other threads run meanwhile."""
        asked = self._asked.popleft()
        if asked is None:
            return
        samples, packed = asked.reshape(-1), self._packed.take()
        for at in range(0, len(samples), _AT_ONCE):
            some = samples[at : at + _AT_ONCE]
            octets = packed[: self._width * len(some)]
            self._pack(some, octets)
            self._digest.update(octets.data)

    def hexadecimal(self) -> str:
        """Return the MD5 of all samples taken, in lower-case hex digits."""
        return self._digest.hexdigest()
