"""Read an audio file as channel-first slices, checked for samples that no groove can follow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from qc.audio.buffers import Buffers
from qc.audio.container.file_hash import FileHash
from qc.audio.decode import UNDECODABLE, Decoder, decoder
from qc.audio.faults import AudioFaultError, longer, short, unreadable, unusable
from qc.dsp.samples.closed import closed
from qc.dsp.samples.usable import first_unusable
from qc.plugin_base import Samples, Stream

__all__ = ["ABSURD", "BLOCK", "HIGH_RATE", "RING", "SLICE", "AudioFaultError", "FileSource", "Slices"]

BLOCK = 131_072
"""Frames of a read, large since every call costs time for FLAC."""
SLICE = 131_072
"""Frames of a slice: kernels process it in smaller steps, and large slices save calls from Python."""
HIGH_RATE = 120_000
"""Hz above which both have twice the frames, so that they last as long as at half the rate: signals at the lower rate
keep their block length, and work done once a block is done no more often."""
RING = 5
"""Most blocks in memory: one is read, one is in the taps, one in the analyses, and one waits for each of those."""
ABSURD = 100.0
"""+40 dBFS: no gain structure produces that, a wrong number format does (practice)."""


class FileSource:
    """Reads a WAV, RF64, AIFF or FLAC file in order; a mono file is returned as the dual mono that will be cut."""

    def __init__(
        self, path: Path, name: str, rate: int, frames: int, shown: str = "", *, mono: bool = False,
        hashed: FileHash | None = None,
    ) -> None:  # fmt: skip
        self.stream = Stream(source=name, rate=rate, channels=2, frames=frames, mono=mono)
        self._path = path
        self._shown = shown or path.name
        self._hashed = hashed
        self._at = 0
        self._loaded = 0
        self._decoder: Decoder | None = None
        self._slices = Slices(rate)

    @property
    def blocks(self) -> int:
        """Number of blocks that `read` returns."""
        return -(-self.stream.frames // self._slices.block)

    @property
    def at_end(self) -> bool:
        """Whether every frame was loaded."""
        return self._at == self.stream.frames

    @property
    def to_hash(self) -> bool:
        """Whether loaded bytes are not hashed yet."""
        return self._hashed is not None and self._hashed.waiting

    def open(self) -> None:
        """Open the file; raises AudioFaultError where it is gone or cannot be decoded."""
        try:
            self._decoder = decoder(self._path, self.stream.rate, self.stream.frames, self._slices.block, RING)
        except UNDECODABLE as error:
            raise AudioFaultError(unreadable("not audio", self._shown, 0, self.stream.rate, _why(error))) from None
        if self._hashed is not None:
            self._hashed.open()

    def close(self) -> None:
        """Close the file."""
        self._release()
        if self._hashed is not None:
            self._hashed.close()

    def read(self) -> Sequence[Samples]:
        """Read the next block as slices, (2, n) each; raises AudioFaultError naming the second at fault."""
        count = min(self._slices.block, self.stream.frames - self._at)
        self.load(count)
        slices = self._slices.take(count)
        for k, samples in enumerate(slices):
            self.put(k * self._slices.slice, samples)
        if self.at_end:
            self._release()
        return read_only(slices)

    def _release(self) -> None:
        """Release the decoder and the buffers; slices in use keep their memory."""
        if self._decoder is not None:
            self._decoder.close()
            self._decoder = None
        self._slices = Slices(self.stream.rate)

    def hash(self) -> None:
        """Hash the bytes of the oldest load that was not hashed yet."""
        if self._hashed is not None:
            self._hashed.step()

    def load(self, count: int) -> None:
        """Decode the next frames, at most a block, for `put`.

        Raises AudioFaultError where the file cannot be decoded, ends before its time or goes on behind it.
        """
        assert self._decoder is not None  # open
        try:
            got = self._decoder.load(count)
        except UNDECODABLE as error:
            kind, frame = self._decoder.place(self._at)
            raise AudioFaultError(unreadable(kind, self._shown, frame, self.stream.rate, _why(error))) from None
        if got < count:
            raise AudioFaultError(short(self._shown, self._at + got, self.stream))
        end = self._at + count
        if end == self.stream.frames and self._decoder.goes_on():
            raise AudioFaultError(longer(self._shown, self.stream))
        if self._hashed is not None:  # before `_at` reaches the end: hashing closes a file that is at its end
            self._hashed.ask(end / self.stream.frames, self._decoder.came_from(), self._decoder.integers())
        self._loaded, self._at = self._at, end

    def put(self, at: int, samples: Samples) -> None:
        """Write loaded frames, from frame `at` of the load on, into samples (2, n) with contiguous rows.

        Raises AudioFaultError for a sample that cannot be programme.
        """
        assert self._decoder is not None  # open
        self._decoder.put(at, samples[0], samples[1])
        if not self._decoder.whole_numbers:
            bad = first_unusable(np.ascontiguousarray(samples), ABSURD)
            if bad >= 0:
                value = float(samples[np.argmax(~(np.abs(samples[:, bad]) <= ABSURD)), bad])
                frame = self._loaded + at + bad
                raise AudioFaultError(unusable(self._shown, frame, self.stream.rate, value))


def _why(error: Exception) -> str:
    """Return the text of an error without its number."""
    return getattr(error, "strerror", None) or str(error)


class Slices:
    """Divides blocks of a stream into slices with reused memory."""

    def __init__(self, rate: int) -> None:
        times = 2 if rate > HIGH_RATE else 1
        self.block, self.slice = times * BLOCK, times * SLICE
        """frames of each"""
        self._buffers = Buffers((2, self.slice), np.float64, RING * -(-self.block // self.slice))

    def take(self, count: int) -> list[Samples]:
        """Return unfilled slices (2, up to `slice`), C order, for `count` frames."""
        whole, rest = divmod(count, self.slice)
        slices = [self._buffers.take()[:] for _ in range(whole)]
        return [*slices, np.empty((2, rest))] if rest else slices

    def pieces(self, at: int, count: int) -> Iterator[tuple[int, int, int]]:
        """Yield frames `at` to `at + count` of a block by slice: index of the slice, first and end frame in it."""
        end = at + count
        while at < end:
            k, low = divmod(at, self.slice)
            high = min(self.slice, end - k * self.slice)
            yield k, low, high
            at = k * self.slice + high


def read_only(slices: Sequence[Samples]) -> Sequence[Samples]:
    """Return filled slices as arrays that no reader can open for writing."""
    return [closed(samples) for samples in slices]
