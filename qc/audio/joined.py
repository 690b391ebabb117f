"""A side that came as one file a track, heard as one: file after file, digital silence between, exact to the frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from qc.audio import source
from qc.audio.received import AudioFault
from qc.audio.source import AudioFaultError, FileSource
from qc.contract import At, Samples, Stream


@dataclass(frozen=True, slots=True)
class Part:
    """One file of a side: where it lies and how messages name it, the frame at which it begins, frames, rate in Hz."""

    path: Path
    named: str
    track: int
    start: int
    frames: int
    rate: int

    @property
    def end(self) -> int:
        """Frame of the side behind the last one of this file."""
        return self.start + self.frames


class JoinedSource:
    """Reads the files of a side in order, silence wherever none lies; all have one rate and number of channels.

    Blocks and slices are cut as those of one file with the same programme would be, so the digits are the same.
    """

    def __init__(self, parts: Sequence[Part], name: str, *, mono: bool = False) -> None:
        self.stream = Stream(source=name, rate=parts[0].rate, channels=2, frames=parts[-1].end, mono=mono)
        self.parts = tuple(parts)
        self._at = 0
        self._files: dict[Part, FileSource] = {}

    @property
    def blocks(self) -> int:
        """Number of blocks `read` gives."""
        return -(-self.stream.frames // source.BLOCK)

    def open(self) -> None:
        """Get ready; each file is opened when its turn comes, so that no number of tracks is too large."""
        self._at = 0

    def close(self) -> None:
        """Close what is open."""
        for file in self._files.values():
            file.close()
        self._files.clear()

    def read(self) -> Sequence[Samples]:
        """Read the next block as slices (2, up to SLICE); raises AudioFaultError naming file, track and second."""
        start, end = self._at, min(self._at + source.BLOCK, self.stream.frames)
        slices = [np.zeros((2, min(source.SLICE, end - at))) for at in range(start, end, source.SLICE)]
        for part in self.parts:
            first, last = max(start, part.start), min(end, part.end)
            if first < last:
                try:
                    self._fill(part, slices, first - start, last - first, first - part.start)
                except AudioFaultError as error:
                    raise AudioFaultError(on_side(error.fault, part)) from None
        for samples in slices:
            samples.flags.writeable = False
        self._at = end
        return slices

    def _fill(self, part: Part, slices: Sequence[Samples], at: int, count: int, frame: int) -> None:
        """Put the next `count` frames of a file, the first of them its `frame`, into a block's slices from `at` on."""
        got = self._file(part).take(count)
        for k, low, high in _pieces(at, count):
            piece = slices[k][:, low:high]
            offset = k * source.SLICE + low - at
            piece[:] = got[offset : offset + high - low].T  # a mono file fills both rows
            self._file(part).check(np.ascontiguousarray(piece), frame + offset)
        if frame + count == part.frames:
            self._files.pop(part).close()

    def _file(self, part: Part) -> FileSource:
        """Give the open file of a part."""
        if part not in self._files:
            file = FileSource(part.path, self.stream.source, self.stream.rate, part.frames, part.named)
            file.open()
            self._files[part] = file
        return self._files[part]


def _pieces(at: int, count: int) -> Iterator[tuple[int, int, int]]:
    """Cut frames `at` to `at + count` of a block where slices meet: slice, and first and last frame in it."""
    end = at + count
    while at < end:
        k, low = divmod(at, source.SLICE)
        high = min(source.SLICE, end - k * source.SLICE)
        yield k, low, high
        at = k * source.SLICE + high


def on_side(fault: AudioFault, part: Part) -> AudioFault:
    """Place a fault of one file on the side: its track, and its second counted from the beginning of the side."""
    at = fault.at or At()
    second = None if at.start_s is None else part.start / part.rate + at.start_s
    return replace(fault, at=at.model_copy(update={"track": part.track, "start_s": second}))
