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
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.errors import SecondLookError
from qc.plugin_api import RunningTap, Samples, Stream, Tap

MOST_S = 60
"""Seconds of a side that may be read again, what filters need counted in."""
BEFORE = 18
"""Sectors, 0.24 s, heard before a stretch so that filters have settled: what rings in a 10 Hz Butterworth high-pass of
the second order falls by 386 dB a second, so that 92 dB are gone (practice)."""
BEHIND = 1
"""Sectors heard behind a stretch, for filters that look ahead (practice)."""
HELD = 1
"""Pieces that are held at once: findings of one passage come one after the other, and share its piece."""
STEP = BLOCK // 4
"""Frames that are decoded, or given to a tap, at once."""
BEYOND = 64
"""Frames for which there is room behind the last one of a piece, since a tap may go on a little."""
LONGEST = 5 * SECTORS_A_SECOND
"""Sectors of a piece that grows by what lies beside it, at the most."""


@dataclass(eq=False)
class _Piece:
    """Frames of the file from `start` to before `end`, and what taps made of them."""

    start: int
    end: int
    samples: Samples
    tapped: dict[Tap, Samples] = field(default_factory=dict)


class Excerpts:
    """Gives stretches of a side that came as one file or as several; what was read is held for a while."""

    def __init__(
        self, stream: Stream, parts: Sequence[FileSegment], changes: Callable[[], Sequence[AudioFault]] = tuple
    ) -> None:
        """Begin; `changes` says which files are other ones by now than in the pass."""
        self.stream = stream
        self.lost = ""
        """why the audio cannot be read any more, once that has shown"""
        self.changed: Sequence[AudioFault] = ()
        """which files are other ones by now, once that has shown"""
        self._parts, self._changes = tuple(parts), changes
        self._size = stream.rate // SECTORS_A_SECOND
        self._read = 0
        self._pieces: list[_Piece] = []

    @property
    def seconds(self) -> float:
        """Seconds that were read again so far."""
        return self._read / self.stream.rate

    def __call__(self, start_s: float, end_s: float, tap: Tap | None = None) -> Samples:
        """Give file seconds through a tap; raises SecondLookError where no more may or can be read."""
        rate, size = self.stream.rate, self._size
        first, last = self._within(round(start_s * rate)), self._within(round(end_s * rate))
        before, behind = (0, 0) if tap is None else (BEFORE, BEHIND)
        low = self._within((first // size - before) * size)
        high = self._within((-(-last // size) + behind) * size)
        piece = self._piece(low, max(low, high))
        if tap is None:
            return piece.samples[:, first - piece.start : last - piece.start]
        at = tap.rate(self.stream)
        end = -(-self.stream.frames * at // rate)
        begin = piece.start * at // rate
        first, last = (min(end, max(0, round(second * at))) for second in (start_s, end_s))
        return self._tapped(piece, tap)[:, first - begin : last - begin]

    def _within(self, frame: int) -> int:
        return min(max(0, frame), self.stream.frames)

    def forget(self) -> None:
        """Let go of what was read; it counts all the same."""
        self._pieces = []

    def _tapped(self, piece: _Piece, tap: Tap) -> Samples:
        """Give a whole piece through a tap and all that it listens to, worked out once."""
        here = self.stream
        stream = Stream(here.source, here.rate, here.channels, piece.end - piece.start, here.mono)
        heard = piece.samples
        for one in reversed(lineage(tap)):
            if one not in piece.tapped:
                room = -(-stream.frames * one.rate(stream) // stream.rate) + BEYOND
                piece.tapped[one] = _closed(_through(one.start(stream), heard, room))
            heard = piece.tapped[one]
        return heard

    def _piece(self, low: int, high: int) -> _Piece:
        """Give a piece that holds some frames: one that is held, one that is grown, or a new one."""
        for piece in self._pieces:
            if piece.start <= low and high <= piece.end:
                return piece
        beside = next((piece for piece in self._pieces if piece.start < high and low < piece.end), None)
        if beside is not None:
            start, end = min(low, beside.start), max(high, beside.end)
            if end - start <= LONGEST * self._size:
                before, behind = self._heard((start, beside.start), (beside.end, end))
                self._pieces.remove(beside)
                return self._held(start, np.concatenate([before, beside.samples, behind], axis=1))
        (samples,) = self._heard((low, high))
        return self._held(low, samples)

    def _held(self, start: int, samples: Samples) -> _Piece:
        piece = _Piece(start, start + samples.shape[1], _closed(samples))
        self._pieces = [piece, *self._pieces][:HELD]
        return piece

    def _heard(self, *stretches: tuple[int, int]) -> list[Samples]:
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
        """Raise OSError where a file went away, or is another one by now."""
        if self._changes():
            raise OSError("the file went away, or is another one by now")

    def _stretch(self, start: int, end: int) -> Samples:
        samples = np.zeros((2, end - start))
        for part in self._parts:
            first, last = max(start, part.start), min(end, part.end)
            if first < last:
                _decode(part, first - part.start, samples[:, first - start : last - start])
        return samples


def _through(running: RunningTap, heard: Samples, room: int) -> Samples:
    """Give all that a tap makes of a piece, about `room` frames; it hears a quarter of a block at a time.

    So the tap needs little, and little is held twice.
    """
    given = np.empty((0, 0))
    end = 0
    for first in [*range(0, heard.shape[1], STEP), -1]:
        part = running.flush() if first < 0 else running.push(heard[:, first : first + STEP])
        if len(given) < len(part) or given.shape[1] < end + part.shape[1]:  # a tap may give no frame of its first ones
            grown = np.empty((len(part), max(room, end + part.shape[1])))
            if end:
                grown[:, :end] = given[:, :end]
            given = grown
        given[:, end : end + part.shape[1]] = part
        end += part.shape[1]
        del part  # else the tap could not use its memory again
    return given[:, :end]


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


def _closed(samples: Samples) -> Samples:
    """Give samples in C order and closed to writing: several analyses are given the same."""
    samples = np.ascontiguousarray(samples)
    if samples.flags.writeable:
        samples = samples.view()
        samples.flags.writeable = False
    return samples
