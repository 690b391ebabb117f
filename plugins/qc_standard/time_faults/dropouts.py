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

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Array = NDArray[np.float64]

FALL = 9.0
"""Least fall in dB from which an edge is looked at."""
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


@dataclass(frozen=True, slots=True, eq=False)
class _Edge:
    part: int
    level: float
    """mean level of the louder side, in dB"""
    bands: Array
    step: float
    """how far the level changes within some parts, in dB"""
    width: int
    """samples that the bands were taken from"""


def levels(row: Samples, part: int) -> Array:
    """Return the mean square of the first differences of each part of a row of whole parts, (parts,)."""
    d = np.empty_like(row)
    d[0] = 0.0
    np.subtract(row[1:], row[:-1], out=d[1:])
    parts = d.reshape(-1, part)
    squares = np.einsum("ij,ij->i", parts, parts).astype(np.float64)
    return squares / part + FLOOR


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

    def push(self, row: Samples, before: int, count: int, zero: int) -> None:
        """Process the parts `before` to `before + count` of a row of whole parts; `zero` is the side's part at 0."""
        here = levels(row, self._part)
        self._history = np.concatenate([self._history[count:], here[before : before + count]])
        self._end = zero + before + count
        falls = self._sharpest(_falls(here, before, count), row, here, zero, rises=False)
        rises = self._sharpest(_rises(here, before, count), row, here, zero, rises=True)
        for edge in sorted([*falls, *rises], key=lambda edge: edge.part):
            if edge.step >= FALL:
                self.edges.append(edge.part)
            if edge in rises:
                self._close(edge, row, edge.part - zero)
            else:
                self._falls.append(edge)

    def _sharpest(self, places: set[int], row: Samples, here: Array, zero: int, *, rises: bool) -> list[_Edge]:
        """Return the edges at some parts, the sharpest of those that are found close together; quiet ones have none."""
        out: list[_Edge] = []
        for k in sorted(places):
            edge = self._edge(row, here, k, zero, rises=rises)
            if edge.level < 10.0 * math.log10(AUDIBLE):
                continue
            if not out or edge.part - out[-1].part > SMOOTH[-1] + 2:
                out.append(edge)
            elif edge.step > out[-1].step:
                out[-1] = edge
        return out

    def _edge(self, row: Samples, here: Array, k: int, zero: int, *, rises: bool) -> _Edge:
        near = slice(k + 1, k + 1 + SIDE) if rises else slice(k - 1 - SIDE, k - 1)
        sound = row[near.start * self._part : near.stop * self._part]
        outer, inner = (
            (slice(k + 1, k + 4), slice(k - 4, k - 1)) if rises else (slice(k - 4, k - 1), slice(k + 1, k + 4))
        )
        level, beside, down = (10.0 * math.log10(float(here[parts].mean())) for parts in (near, outer, inner))
        step = min(beside, level) - down if beside > level - STILL else 0.0
        return _Edge(zero + k, level, _bands(sound), step, len(sound))

    def _close(self, rise: _Edge, row: Samples, k: int) -> None:
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
            if min(fall.step, rise.step) < min(ABRUPT * depth, MOST_ABRUPT):
                continue
            left = row[max(0, k - length + 1) * self._part : (k - 1) * self._part]
            if depth >= FALL and _alike(fall, rise) and (depth >= MUTE or _quieter(left, fall, rise)):
                if len(self._found) < MOST_KEPT and (not self._found or self._found[-1][1] <= fall.part):
                    self._found.append((fall.part, rise.part, depth))
                return

    def dropouts(self) -> Iterator[tuple[int, int, float]]:
        """Yield the dropouts as first part, end and depth, without those that come again and again."""
        for first, end, depth in self._found:
            others = sum(abs(other[0] - first) < AGAIN for other in self._found) - 1
            if others < MOST_AGAIN:
                yield first, end, depth


def _running(least_or_most: np.ufunc, x: Array, width: int) -> Array:
    """Return the least or greatest value of each `width` neighbours, (n - width + 1,), by windows of doubled width."""
    reach = 1
    while 2 * reach <= width:
        x, reach = least_or_most(x[reach:], x[:-reach]), 2 * reach
    more = width - reach
    return least_or_most(x[more:], x[: len(x) - more]) if more else x


def _edges(here: Array, before: int, count: int) -> Iterator[NDArray[np.int64]]:
    """Yield, for each smoothing, the parts that are a fall: loud for SIDE parts before them, low right after."""
    for smooth in SMOOTH:
        level = np.convolve(here, np.full(smooth, 1.0 / smooth), mode="valid")  # level[i]: parts i to i + smooth
        loud = _running(np.minimum, level, SIDE - smooth + 1)  # loud[i]: parts i to i + SIDE
        low = _running(np.maximum, here, INNER) if smooth == SMOOTH[0] else level
        inner = INNER if smooth == SMOOTH[0] else smooth
        k = np.arange(before, before + count)
        fall = loud[k - SIDE - 1] / np.maximum(low[np.minimum(k + 1, len(here) - inner)], FLOOR)
        strong = fall > 10.0 ** (FALL / 10.0)
        peak = strong & (fall >= np.roll(fall, 1)) & (fall >= np.roll(fall, -1))
        yield k[peak]


def _falls(here: Array, before: int, count: int) -> set[int]:
    return {int(k) for found in _edges(here, before, count) for k in found}


def _rises(here: Array, before: int, count: int) -> set[int]:
    back, n = here[::-1], len(here)
    return {n - int(k) for found in _edges(back, n - before - count, count) for k in found}


def _bands(sound: Samples, width: int = 0) -> Array:
    """Return the levels in dB of BANDS bands of equal ratio up to a quarter of the rate; `width` pads short sounds."""
    tapered = np.hanning(len(sound)) * np.diff(sound, prepend=sound[:1])
    spectrum = np.abs(np.fft.rfft(tapered, max(width, len(sound)))) ** 2 / max(1, len(sound))
    edges = np.unique(np.geomspace(4, len(spectrum) // 2, BANDS + 1).astype(np.int64))
    bands: Array = 10.0 * np.log10(np.add.reduceat(spectrum, edges)[:-1] + 1e-12)
    return bands


def _alike(fall: _Edge, rise: _Edge) -> bool:
    """Whether level and spectrum are the same before a fall and after a rise."""
    length = rise.part - fall.part
    _, level, bands = next(limits for limits in ALIKE if length <= limits[0])
    return abs(rise.level - fall.level) <= level and _apart(fall.bands, rise.bands) <= bands


def _quieter(left: Samples, fall: _Edge, rise: _Edge) -> bool:
    """Whether what is left between two edges has the spectrum of the sound around, its level aside."""
    if len(left) < 8:
        return False
    around = 0.5 * (fall.bands + rise.bands)
    spare = max(0, len(left) - fall.width) // 2
    bands = _bands(left[spare : spare + fall.width], fall.width)
    deeper = (around - bands)[around > around.max() - 40.0].mean()
    return _apart(bands + deeper, around) <= BANDS_LEFT


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
