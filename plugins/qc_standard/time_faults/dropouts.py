"""Dropouts: the level falls at once, and returns at once to the sound that was there before.

The level is that of the first difference, by parts of 1 ms. It falls where the least of the 50 ms before is FALL above
the greatest of the next few, and rises in the same way. A fall and a rise are a dropout when the level stays down
between them, and when level and spectrum are the same before and after. What happens again and again, as a tremolo
does, is music.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api.kernels import kernel

Samples = NDArray[np.float32]
Array = NDArray[np.float64]

FALL = 9.0
"""Least fall in dB from which an edge is looked at."""
STRONG = 10.0 ** (FALL / 10.0)
"""The same as a ratio of powers."""
SIDE = 50
"""Parts of 1 ms before a fall and after a rise that are compared with what lies between."""
INNER = 4
"""Parts inside an edge that are down at once."""
SMOOTH = (2, 10)
"""Parts that a level is taken over: short ones for short dropouts, long ones for sounds that pulse."""
SHORTEST, LONGEST, LONGEST_MUTE = 4, 310, 6000
"""Parts of the shortest and the longest dropout, and of the longest silence that is one."""
SILENT = 1e-9
"""Mean square of first differences up to which a stretch is silent."""
FLOOR = 1e-13
AUDIBLE = 3e-8
"""Mean square of first differences that the sound before has at least."""
ALIKE = ((60, 6.0, 4.5), (500, 6.0, 5.5), (6000, 12.0, 10.0))
"""Most parts of a dropout, difference in dB of the levels before and after it, and mean difference of their spectra in
bands: the longer it is, the further the music went on meanwhile (practice)."""
BANDS_LEFT = 4.5
"""Mean difference in dB of the spectrum of what is left from that of what is around (practice)."""
MUTE, LONG_MUTE = 40.0, 50.0
"""Fall in dB from which nothing is left of the sound, for up to LONGEST and for longer.

After a smaller fall, what is left has the same spectrum.
"""
BANDS = 16
STILL, ABRUPT, MOST_ABRUPT = 8.0, 0.7, 35.0
"""Fall in dB that the last 3 ms before an edge may have by themselves, and the part of the whole fall, at most so many
dB, that the 3 ms behind it have at least (practice)."""
MOST_KEPT = 2000
"""Most dropouts of a channel that are kept, the first ones."""
DEAD = 2000
"""Parts from which a fall of one channel alone is a dead channel, which is no dropout."""
TOGETHER = 5
"""Parts by which the edges of a dropout may differ between the channels."""
AGAIN, MOST_AGAIN = 3000, 2
"""Parts around a dropout, and number of other ones in them from which they are music (practice)."""


@dataclass(frozen=True, slots=True)
class FoundDropout:
    """A dropout: first frame, end, channel (empty: both), and how far the level fell, in dB."""

    first: int
    end: int
    channel: str
    depth_db: float


@dataclass(slots=True, eq=False)
class _Edge:
    part: int
    level: float
    """mean level of the louder side, in dB"""
    step: float
    """how far the level changes within some parts, in dB"""
    rises: bool
    bands: Array | None = None
    """spectrum of the louder side, from when it was needed"""


class DropoutSearch:
    """Falls and rises of one channel so far, and the levels of the last seconds."""

    def __init__(self, part: int) -> None:
        self._part = part
        self._history = np.full(LONGEST_MUTE + 4000, FLOOR)
        self._end = 0
        self._falls: deque[_Edge] = deque(maxlen=64)
        self._found: list[tuple[int, int, float]] = []
        self.edges: deque[int] = deque(maxlen=2 * MOST_KEPT)
        """parts at which the level changed at once, of dropouts or not: a sample that stands out there is no click"""

    def push(self, row: Samples, here: Array, before: int, count: int, zero: int) -> None:
        """Process the parts `before` to `before + count` of a row of whole parts.

        `here` has the level of each part of the row, the mean square of its first differences, (parts,); `zero` is
        the side's part at 0.
        """
        self._history = np.concatenate([self._history[count:], here[before : before + count]])
        self._end = zero + before + count
        sound = _Sound(row, here, zero, self._part)
        falls = _sharpest(_falls(here, before, count), sound, rises=False)
        rises = _sharpest(_rises(here, before, count), sound, rises=True)
        for edge in sorted([*falls, *rises], key=lambda edge: edge.part):
            if edge.step >= FALL:
                self.edges.append(edge.part)
            if edge.step < ABRUPT * FALL:
                continue  # it is too slow for any dropout
            if edge.rises:
                self._close(edge, sound)
            else:
                k = edge.part - zero
                if float(here[k + 1 : k + LONGEST].max()) <= SILENT:
                    edge.bands = sound.bands(edge)  # at the end of a long silence its sound will be gone
                self._falls.append(edge)

    def _close(self, rise: _Edge, sound: _Sound) -> None:
        for fall in reversed(self._falls):
            length = rise.part - fall.part
            if length < SHORTEST:
                continue
            if length > LONGEST_MUTE:
                return
            first = len(self._history) - (self._end - fall.part)
            inside = self._history[max(0, first + 1) : first + length - 1]
            if not len(inside):
                continue
            depth = min(fall.level, rise.level) - 10.0 * math.log10(float(inside.mean()))
            if length > LONGEST and (float(inside.max()) > SILENT or depth < LONG_MUTE):
                return
            if depth < FALL or min(fall.step, rise.step) < min(ABRUPT * depth, MOST_ABRUPT):
                continue
            if sound.alike(fall, rise) and (depth >= MUTE or sound.quieter(fall, rise)):
                if len(self._found) < MOST_KEPT and (not self._found or self._found[-1][1] <= fall.part):
                    self._found.append((fall.part, rise.part, depth))
                return

    def dropouts(self) -> Iterator[tuple[int, int, float]]:
        """Yield the dropouts as first part, end and depth, without those that come again and again."""
        for first, end, depth in self._found:
            others = sum(abs(other[0] - first) < AGAIN for other in self._found) - 1
            if others < MOST_AGAIN:
                yield first, end, depth


@kernel
def _level(here: Array, first: int, end: int) -> float:
    """Return the mean level in dB of some parts."""
    total = 0.0
    for i in range(first, end):
        total += here[i]
    return 10.0 * np.log10(total / (end - first))


@kernel
def _fall(here: Array, level: Array, k: int, smooth: int) -> float:
    """Return the least of the SIDE parts before part k over the greatest of some behind it, 0 below FALL.

    `level` has the mean of `smooth` parts from each part on.
    """
    low = level[k + 1]
    if smooth == SMOOTH[0]:
        low = here[k + 1]
        for i in range(1, INNER):
            low = max(low, here[k + 1 + i])
    low = max(low, FLOOR)
    least = level[k - 1 - smooth]
    for i in range(SIDE - smooth + 1):
        least = min(least, level[k - 1 - smooth - i])
        if least <= STRONG * low:
            return 0.0
    return least / low


@kernel
def _edges(here: Array, first: int, found: NDArray[np.bool_]) -> None:
    """Mark the parts from `first` on that are a fall: loud for SIDE parts before them, low right after."""
    level = np.zeros(len(here))
    for smooth in SMOOTH:
        level[:] = 0.0
        for i in range(smooth):
            for j in range(len(here) - smooth + 1):
                level[j] += here[j + i]
        for j in range(len(level)):
            level[j] *= 1.0 / smooth
        before, fall = 0.0, _fall(here, level, first, smooth)
        for j in range(len(found)):
            after = _fall(here, level, first + j + 1, smooth)
            if fall > 0.0 and fall >= before and fall >= after:
                found[j] = True
            before, fall = fall, after


def _falls(here: Array, before: int, count: int) -> NDArray[np.int64]:
    """Return the parts from `before` to before `before + count` at which the level falls, in order."""
    found = np.zeros(count, np.bool_)
    _edges(here, before, found)
    return np.flatnonzero(found) + before


def _rises(here: Array, before: int, count: int) -> NDArray[np.int64]:
    """Return the parts from which on the level is high again, in order."""
    back = np.ascontiguousarray(here[::-1])
    return len(here) - _falls(back, len(here) - before - count, count)[::-1]


@dataclass(frozen=True)
class _Sound:
    """The samples and levels of a channel about a stretch, and what they say about edges."""

    row: Samples
    here: Array
    zero: int
    """the side's part at the first part of the row"""
    part: int

    def edge(self, k: int, *, rises: bool) -> _Edge:
        """Return the edge at a part of the row."""
        outer, inner = slice(k - 4, k - 1), slice(k + 1, k + 4)
        if rises:
            outer, inner = inner, outer
        level, beside, down = (_level(self.here, parts.start, parts.stop) for parts in (_near(k, rises), outer, inner))
        step = min(beside, level) - down if beside > level - STILL else 0.0
        return _Edge(self.zero + k, level, step, rises)

    def bands(self, edge: _Edge) -> Array:
        """Return the spectrum of the louder side of an edge."""
        if edge.bands is None:
            near = _near(edge.part - self.zero, edge.rises)
            edge.bands = _bands(self.row[near.start * self.part : near.stop * self.part])
        return edge.bands

    def alike(self, fall: _Edge, rise: _Edge) -> bool:
        """Whether level and spectrum are the same before a fall and after a rise."""
        length = rise.part - fall.part
        _, level, bands = next(limits for limits in ALIKE if length <= limits[0])
        return abs(rise.level - fall.level) <= level and _apart(self.bands(fall), self.bands(rise)) <= bands

    def quieter(self, fall: _Edge, rise: _Edge) -> bool:
        """Whether what is left between two edges has the spectrum of the sound around, its level aside."""
        k, length, width = rise.part - self.zero, rise.part - fall.part, SIDE * self.part
        left = self.row[(k - length + 1) * self.part : (k - 1) * self.part]
        if len(left) < 8:
            return False
        around = 0.5 * (self.bands(fall) + self.bands(rise))
        spare = max(0, len(left) - width) // 2
        bands = _bands(left[spare : spare + width], width)
        deeper = (around - bands)[around > around.max() - 40.0].mean()
        return _apart(bands + deeper, around) <= BANDS_LEFT


def _near(k: int, rises: bool) -> slice:
    """Return the SIDE parts on the louder side of an edge at part k."""
    return slice(k + 1, k + 1 + SIDE) if rises else slice(k - 1 - SIDE, k - 1)


def _sharpest(places: NDArray[np.int64], sound: _Sound, *, rises: bool) -> list[_Edge]:
    """Return the edges at some parts, the sharpest of those that are found close together; quiet ones have none."""
    out: list[_Edge] = []
    for k in places:
        edge = sound.edge(int(k), rises=rises)
        if edge.level < 10.0 * math.log10(AUDIBLE):
            continue
        if not out or edge.part - out[-1].part > SMOOTH[-1] + 2:
            out.append(edge)
        elif edge.step > out[-1].step:
            out[-1] = edge
    return out


@lru_cache(64)
def _window(length: int) -> Array:
    return np.hanning(length)


@lru_cache(64)
def _borders(lines: int) -> NDArray[np.int64]:
    """Return the first line of each band of a spectrum, and the end of the last."""
    return np.unique(np.geomspace(4, lines // 2, BANDS + 1).astype(np.int64))


def _bands(sound: Samples, width: int = 0) -> Array:
    """Return the levels in dB of BANDS bands of equal ratio up to a quarter of the rate; `width` pads short sounds."""
    tapered = _window(len(sound)) * np.diff(sound, prepend=sound[:1])
    spectrum = np.abs(np.fft.rfft(tapered, max(width, len(sound)))) ** 2 / max(1, len(sound))
    bands: Array = 10.0 * np.log10(np.add.reduceat(spectrum, _borders(len(spectrum)))[:-1] + 1e-12)
    return bands


def _apart(bands: Array, other: Array) -> float:
    """Mean difference of two spectra in dB, of the bands within 40 dB of the strongest."""
    strong = np.maximum(bands, other)
    return float(np.abs(bands - other)[strong > strong.max() - 40.0].mean())


def joined(by_channel: Sequence[tuple[str, Iterable[tuple[int, int, float]]]], part: int) -> list[FoundDropout]:
    """Return the dropouts of all channels in order of time, those at the same place in both as one."""
    out: list[FoundDropout] = []
    each = sorted((first, end, depth, name) for name, found in by_channel for first, end, depth in found)
    while each:
        first, end, depth, name = each.pop(0)
        same = [other for other in each if abs(other[0] - first) <= TOGETHER and abs(other[1] - end) <= TOGETHER]
        if same:
            each.remove(same[0])
            name, depth = "", max(depth, same[0][2])
        elif name and end - first >= DEAD:
            continue
        out.append(FoundDropout(first * part, end * part, name, depth))
    return out
