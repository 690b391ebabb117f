"""The second look: a few seconds of a side read again after judging, through the same taps as in the pass."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from qc.audio.decode import UNDECODABLE, decoder
from qc.audio.multi_file_source import FileSegment
from qc.audio.pipeline.plan import lineage
from qc.audio.received import AudioFault
from qc.audio.source import BLOCK
from qc.dsp.samples.closed import closed
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.errors import SecondLookError
from qc.plugin_base import RunningTap, Samples, Stream, Tap

MOST_S = 60
"""Most seconds of a side that may be read again, settling time of filters included."""
BEFORE = 18
"""Sectors, 0.24 s, read before a stretch so that filters have settled: the ringing in a 10 Hz Butterworth high-pass of
the second order falls by 386 dB a second, so that 92 dB are gone (practice)."""
BEHIND = 1
"""Sectors read after a stretch, for filters that look ahead (practice)."""
MOST_PIECES = 1
"""Pieces kept in memory: findings of one passage follow each other and share its piece."""
STEP = BLOCK // 4
"""Frames that are decoded, or pushed into a tap, at once."""
BEYOND = 64
"""Spare frames behind the end of a piece, since a tap may return a few more than it was pushed."""
LONGEST = 5 * SECTORS_A_SECOND
"""Most sectors of a piece that is extended."""


@dataclass(eq=False)
class _Piece:
    """Frames of the file from `start` to before `end`, with the outputs of taps."""

    start: int
    end: int
    samples: Samples
    tapped: dict[Tap, Samples] = field(default_factory=dict)


class Excerpts:
    """Reads stretches of a side of one or several files again, and keeps the last piece in memory."""

    def __init__(
        self, stream: Stream, parts: Sequence[FileSegment], changes: Callable[[], Sequence[AudioFault]] = tuple
    ) -> None:
        """Begin; `changes` returns a fault for each file that changed since the pass."""
        self.stream = stream
        self.lost = ""
        """reason why the audio cannot be read any more; empty until a read has failed"""
        self.changed: Sequence[AudioFault] = ()
        """faults of the files that changed since the pass, filled when a read has failed"""
        self._parts, self._changes = tuple(parts), changes
        self._size = stream.rate // SECTORS_A_SECOND
        self._read = 0
        self._pieces: list[_Piece] = []

    @property
    def seconds(self) -> float:
        """Seconds that were read again so far."""
        return self._read / self.stream.rate

    def __call__(self, start_s: float, end_s: float, tap: Tap | None = None) -> Samples:
        """Return samples between two file seconds, of the source or a tap; raises SecondLookError."""
        rate, size = self.stream.rate, self._size
        first, last = self._within(round(start_s * rate)), self._within(round(end_s * rate))
        before, behind = (0, 0) if tap is None else (BEFORE, BEHIND)
        low = self._within((first // size - before) * size)
        high = self._within((-(-last // size) + behind) * size)
        piece = self._piece(low, max(low, high))
        if tap is None:
            return closed(piece.samples[:, first - piece.start : last - piece.start])
        at = tap.rate(self.stream)
        end = -(-self.stream.frames * at // rate)
        begin = piece.start * at // rate
        first, last = (min(end, max(0, round(second * at))) for second in (start_s, end_s))
        return closed(self._tapped(piece, tap)[:, first - begin : last - begin])

    def _within(self, frame: int) -> int:
        return min(max(0, frame), self.stream.frames)

    def forget(self) -> None:
        """Release the pieces in memory; their seconds still count."""
        self._pieces = []

    def _tapped(self, piece: _Piece, tap: Tap) -> Samples:
        """Return the output of a tap for a whole piece, computed once together with the taps it reads."""
        here = self.stream
        stream = Stream(here.source, here.rate, here.channels, piece.end - piece.start, here.mono)
        samples = piece.samples
        for member in reversed(lineage(tap)):
            if member not in piece.tapped:
                room = -(-stream.frames * member.rate(stream) // stream.rate) + BEYOND
                piece.tapped[member] = _shareable(_through(member.start(stream), samples, room))
            samples = piece.tapped[member]
        return samples

    def _piece(self, low: int, high: int) -> _Piece:
        """Return a piece with the given frames: one in memory, an extended one, or a new one."""
        for piece in self._pieces:
            if piece.start <= low and high <= piece.end:
                return piece
        nearby = next((piece for piece in self._pieces if piece.start < high and low < piece.end), None)
        if nearby is not None:
            start, end = min(low, nearby.start), max(high, nearby.end)
            if end - start <= LONGEST * self._size:
                before, behind = self._read_stretches((start, nearby.start), (nearby.end, end))
                self._pieces.remove(nearby)
                return self._keep(start, np.concatenate([before, nearby.samples, behind], axis=1))
        (samples,) = self._read_stretches((low, high))
        return self._keep(low, samples)

    def _keep(self, start: int, samples: Samples) -> _Piece:
        piece = _Piece(start, start + samples.shape[1], _shareable(samples))
        self._pieces = [piece, *self._pieces][:MOST_PIECES]
        return piece

    def _read_stretches(self, *stretches: tuple[int, int]) -> list[Samples]:
        """Read stretches of frames, all or none; raises SecondLookError."""
        count = sum(end - start for start, end in stretches)
        if self.lost:
            raise SecondLookError(self.lost)
        if self._read + count > MOST_S * self.stream.rate:
            raise SecondLookError(f"no more than {MOST_S} s of a side are read again")
        try:
            self._stop_if_changed()
            found = [self._stretch(start, end) for start, end in stretches]
            self._stop_if_changed()
        except UNDECODABLE as why:
            self.changed = self._changes()
            self.lost = f"the audio could not be read again: {getattr(why, 'strerror', None) or why}"
            raise SecondLookError(self.lost) from None
        self._read += count
        return found

    def _stop_if_changed(self) -> None:
        """Raise OSError where a file is missing, or changed since the pass."""
        if self._changes():
            raise OSError("the file went away, or is another one by now")

    def _stretch(self, start: int, end: int) -> Samples:
        samples = np.zeros((2, end - start))
        for part in self._parts:
            first, last = max(start, part.start), min(end, part.end)
            if first < last:
                _decode(part, first - part.start, samples[:, first - start : last - start])
        return samples


def _through(running: RunningTap, samples: Samples, room: int) -> Samples:
    """Return the output of a tap for a piece, about `room` frames, computed in steps of a quarter of a block.

    The small steps bound the memory of the tap and of its output.
    """
    output = np.empty((0, 0))
    end = 0
    for first in [*range(0, samples.shape[1], STEP), -1]:
        part = running.flush() if first < 0 else running.push(samples[:, first : first + STEP])
        if len(output) < len(part) or output.shape[1] < end + part.shape[1]:  # a tap may return no frames at first
            grown = np.empty((len(part), max(room, end + part.shape[1])))
            if end:
                grown[:, :end] = output[:, :end]
            output = grown
        output[:, end : end + part.shape[1]] = part
        end += part.shape[1]
        del part  # else the tap could not use its memory again
    return output[:, :end]


def _decode(part: FileSegment, at: int, samples: Samples) -> None:
    """Fill samples (2, n) with a file's frames from `at` on; raises one of UNDECODABLE."""
    opened = decoder(part.path, part.rate, part.frames, STEP, 1)
    try:
        opened.seek(at)
        for i in range(0, samples.shape[1], STEP):
            count = min(STEP, samples.shape[1] - i)
            if opened.load(count) < count:
                raise OSError(f"{part.named} ends before its time")
            opened.put(0, samples[0, i : i + count], samples[1, i : i + count])
    finally:
        opened.close()


def _shareable(samples: Samples) -> Samples:
    """Return samples in C order and read-only, since several analyses share them."""
    return closed(np.ascontiguousarray(samples))
