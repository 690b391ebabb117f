"""Read a side of one file a track as one source: the files in order, with exact digital silence between them."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from qc.audio.container.file_hash import FileHash
from qc.audio.faults import AudioFaultError
from qc.audio.received import AudioFault
from qc.audio.source import FileSource, Slices, read_only
from qc.plugin_base import At, Samples, Stream


@dataclass(frozen=True, slots=True)
class FileSegment:
    """One file of a side: its path, its name in messages, its track, first frame, frames, and rate in Hz."""

    path: Path
    named: str
    track: int
    start: int
    frames: int
    rate: int

    @property
    def end(self) -> int:
        """Frame of the side after the last one of this file."""
        return self.start + self.frames


class JoinedSource:
    """Reads the files of a side in order, with silence between them; all have one rate and number of channels.

    Blocks and slices are cut as those of one file with the same programme would be, so the digits are the same.
    """

    def __init__(
        self, parts: Sequence[FileSegment], name: str, *, mono: bool = False, hashed: Sequence[FileHash] = ()
    ) -> None:
        self.stream = Stream(source=name, rate=parts[0].rate, channels=2, frames=parts[-1].end, mono=mono)
        self.parts = tuple(parts)
        self._at = 0
        self._files: dict[FileSegment, FileSource] = {}
        self._hashed = dict(zip(parts, hashed, strict=True)) if hashed else {}
        self._to_hash: deque[list[tuple[FileSegment, bool]]] = deque()
        self._slices = Slices(self.stream.rate)

    @property
    def blocks(self) -> int:
        """Number of blocks that `read` returns."""
        return -(-self.stream.frames // self._slices.block)

    def open(self) -> None:
        """Reset to the start; each file is opened when it is needed, so that any number of tracks works."""
        self._at = 0

    def close(self) -> None:
        """Close all open files."""
        for file in self._files.values():
            file.close()
        self._files.clear()

    def read(self) -> Sequence[Samples]:
        """Read the next block as slices, (2, n) each; raises AudioFaultError naming file, track and second."""
        start, end = self._at, min(self._at + self._slices.block, self.stream.frames)
        slices = self._slices.take(end - start)
        filled, here = start, list[tuple[FileSegment, bool]]()
        for part in self.parts:
            first, last = max(start, part.start), min(end, part.end)
            if first < last:
                self._silence(slices, filled - start, first - filled)
                try:
                    self._fill(part, slices, first - start, last - first)
                except AudioFaultError as error:
                    raise AudioFaultError(on_side(error.fault, part)) from None
                filled = last
                here.append((part, last == part.end))
        self._silence(slices, filled - start, end - filled)
        if self._hashed:
            self._to_hash.append(here)
        self._at = end
        if end == self.stream.frames:
            self._slices = Slices(self.stream.rate)  # releases the buffers of slices that are still in use
        return read_only(slices)

    def hash(self) -> None:
        """Take the bytes of one block, the oldest that was not hashed, into the digests of its files."""
        if not self._hashed:
            return
        for part, is_last in self._to_hash.popleft():
            self._files[part].hash()
            if is_last:
                self._files.pop(part).close()

    def _fill(self, part: FileSegment, slices: Sequence[Samples], at: int, count: int) -> None:
        """Put the next `count` frames of a file into a block's slices from frame `at` of the block on."""
        file = self._file(part)
        file.load(count)
        for k, low, high in self._slices.pieces(at, count):
            file.put(k * self._slices.slice + low - at, slices[k][:, low:high])
        if file.at_end and not self._hashed:
            self._files.pop(part).close()

    def _silence(self, slices: Sequence[Samples], at: int, count: int) -> None:
        """Put digital silence into a block's slices."""
        for k, low, high in self._slices.pieces(at, count):
            slices[k][:, low:high] = 0.0

    def _file(self, part: FileSegment) -> FileSource:
        """Return the open file of a part."""
        if part not in self._files:
            hashed = self._hashed.get(part)
            file = FileSource(part.path, self.stream.source, self.stream.rate, part.frames, part.named, hashed=hashed)
            file.open()
            self._files[part] = file
        return self._files[part]


def on_side(fault: AudioFault, part: FileSegment) -> AudioFault:
    """Place a fault of one file on the side: its track, and its second counted from the beginning of the side."""
    at = fault.at or At()
    second = None if at.start_s is None else part.start / part.rate + at.start_s
    return replace(fault, at=at.model_copy(update={"track": part.track, "start_s": second}))
