"""Dropouts: the level falls at once, and returns at once to the sound that was there before.

A fall and a rise (`edges`) are a dropout when what they look like speaks for a switch and against an instrument: the
level is the same right up to the edge and right from it on, all bands of the spectrum fall and rise by the same,
and level and spectrum are alike before and after. Each departure adds to a sum, which may not exceed MOST_UNLIKE.
What happens again and again, as a tremolo does, is music.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from qc_standard.time_faults.edges import FLOOR, sides, steady_falls, sudden_falls

Samples = NDArray[np.float32]
Array = NDArray[np.float64]

NEAR, NEARER = 25, 12
"""Parts of 1 ms on either side of an edge that are compared; where the sound changes, the nearer ones are alike."""
BESIDE, CLOSE = 10, 3
"""Parts next to an edge whose level is compared with that of the closest ones."""
CLOSEST = 6
"""Parts within which edges are one."""
SHORTEST, STEADY, LONGEST, LONGEST_MUTE = 4, 14, 310, 6000
"""Parts of the shortest dropout; of the longest whose edges must be steady; of the longest; of the longest silence."""
SILENT = 1e-9
"""Mean square of first differences up to which a stretch is silent."""
AUDIBLE = -85.0
"""dB of first differences that the sound on either side has at least."""
LEAST_EDGE, FALL = 6.0, 9.0
"""dB by which all powers at an edge change at least, and two of three."""
MOST_DECAY = 8.0
"""dB by which the level right at an edge may lie below that of the 10 ms beside it."""
LEAST_BANDS = 7.0
"""dB by which half of the bands change at least at each edge."""
MUTE = 40.0
"""Fall in dB from which nothing is left of the sound. After a smaller fall, what is left has the same spectrum."""
MOST_UNLIKE = 1.1
"""Greatest sum of the departures (practice)."""
BANDS, LOWEST_HZ, RANGE = 12, 150.0, 45.0
"""Bands of equal ratio, from LOWEST_HZ to a quarter of the rate; those so many dB below the strongest do not count."""
MOST_KEPT = 2000
"""Most dropouts of a channel that are kept, the first ones."""
DEAD = 2000
"""Parts from which a fall of one channel alone is a dead channel, which is no dropout."""
TOGETHER = 5
"""Parts by which the edges of a dropout may differ between the channels."""
AGAIN, MOST_AGAIN = 3000, 2
"""Parts around a dropout, and number of other ones in them from which they are music (practice)."""
OTHERS, MANY, TIMES = 5000, 6, 2.0
"""Parts around a mute in which abrupt silences are counted; from so many edges, and so many times those of mutes, they
are the sound's own, as the consonants of dry speech are (practice)."""


@dataclass(frozen=True, slots=True)
class FoundDropout:
    """A dropout: first frame, end, channel (empty: both), and how far the level fell, in dB."""

    first: int
    end: int
    channel: str
    depth_db: float


@dataclass(slots=True, eq=False)
class _Edge:
    """An edge: its part and what is on its louder and its quieter side, levels of first differences in dB."""

    part: int
    rises: bool
    steady: bool
    least: float
    """dB by which the power that changes least does"""
    second: float
    loud: float
    quiet: float
    decay: float
    """dB by which the closest parts of the louder side lie below those beside"""
    hump: float
    """the same of the quieter side, above"""
    spectra: dict[tuple[str, int], Array] = field(default_factory=dict)
    """those of so many parts on a side, from when they were needed"""


@dataclass(frozen=True, slots=True)
class _Pair:
    first: int
    end: int
    depth: float
    unlike: float
    mute: bool


def _over(value: float, free: float, each: float) -> float:
    """Return by how much of `each` a value exceeds what is free."""
    return max(0.0, value - free) / each


class DropoutSearch:
    """Falls and rises of one channel so far, and the levels of the last seconds."""

    def __init__(self, part: int) -> None:
        self._part = part
        self._history = np.full(LONGEST_MUTE + 4000, FLOOR)
        self._end = 0
        self._falls: deque[_Edge] = deque(maxlen=64)
        self._found: list[_Pair] = []
        self._mutes: tuple[list[int], list[int]] = ([], [])
        """parts at which the sound stopped, and began, at once"""
        self.edges: deque[int] = deque(maxlen=2 * MOST_KEPT)
        """parts at which a steady level changed at once, of dropouts or not: what stands out there is no click"""

    def push(self, row: Samples, powers: Array, before: int, count: int, zero: int) -> None:
        """Process the parts `before` to `before + count` of a row of whole parts.

        `powers` has the mean squares of the samples, of their first and of their fourth differences, (3, parts);
        `zero` is the side's part at 0.
        """
        here = powers[1]
        self._history = np.concatenate([self._history[count:], here[before : before + count]])
        self._end = zero + before + count
        sound = _Sound(row, here, zero, self._part)
        back = np.ascontiguousarray(powers[:, ::-1])
        falls = _found(powers, before, count, zero, rises=False)
        rises = _found(back, len(here) - before - count, count, zero, rises=True)
        for edge in sorted([*falls, *rises], key=lambda edge: edge.part):
            if edge.steady:
                self.edges.append(edge.part + edge.rises)
            if edge.second >= MUTE and len(self._mutes[edge.rises]) < 20 * MOST_KEPT:
                self._mutes[edge.rises].append(edge.part)
            if edge.rises:
                self._close(edge, sound)
            else:
                k = edge.part - zero
                if float(here[k + 2 : k + LONGEST].max()) <= SILENT:
                    sound.outer(edge, NEAR)  # at the end of a long silence its sound will be gone
                    sound.outer(edge, NEARER)
                self._falls.append(edge)

    def _close(self, rise: _Edge, sound: _Sound) -> None:
        best: _Pair | None = None
        for fall in reversed(self._falls):
            length = rise.part - fall.part
            if length < SHORTEST or (length <= STEADY and not (fall.steady and rise.steady)):
                continue
            if length > LONGEST_MUTE or (length > LONGEST and not self._silent(fall.part + 2, rise.part - 1)):
                break
            mute = min(fall.second, rise.second) >= MUTE
            if length > LONGEST and not mute:
                break
            unlike = sound.unlike(fall, rise, mute=mute, most=MOST_UNLIKE if best is None else best.unlike)
            if unlike <= (MOST_UNLIKE if best is None else best.unlike):
                depth = 0.5 * (fall.loud - fall.quiet + rise.loud - rise.quiet)
                if length < NEAR:
                    inside = 10.0 * math.log10(self._mean(fall.part + 1, rise.part))
                    depth = 0.5 * (fall.loud + rise.loud) - inside
                best = _Pair(fall.part, rise.part, depth, unlike, mute)
            if length > LONGEST:
                break
        if best is not None and best.depth >= FALL and len(self._found) < MOST_KEPT:
            self._found.append(best)

    def _parts(self, first: int, end: int) -> Array:
        """Return the levels of some of the side's parts that are not long ago."""
        zero = self._end - len(self._history)
        return self._history[max(0, first - zero) : end - zero]

    def _silent(self, first: int, end: int) -> bool:
        parts = self._parts(first, end)
        return len(parts) > 0 and float(parts.max()) <= SILENT

    def _mean(self, first: int, end: int) -> float:
        return float(self._parts(first, end).mean())

    def dropouts(self) -> Iterator[tuple[int, int, float]]:
        """Yield the dropouts as first part, end and depth, without those that come again and again."""
        chosen: list[_Pair] = []
        for pair in sorted(self._found, key=lambda pair: pair.unlike):
            if all(pair.end < other.first or other.end < pair.first for other in chosen):
                chosen.append(pair)
        mutes = [pair.first for pair in chosen if pair.mute]
        for pair in sorted(chosen, key=lambda pair: pair.first):
            others = sum(abs(other.first - pair.first) < AGAIN for other in chosen) - 1
            if others < MOST_AGAIN and not (pair.mute and self._cut_up(pair.first, mutes)):
                yield pair.first, pair.end, pair.depth

    def _cut_up(self, part: int, mutes: list[int]) -> bool:
        """Whether abrupt silences that are no dropouts are frequent around a part."""
        edges = max(_count(side, part) for side in self._mutes)
        return edges >= MANY and edges >= TIMES * sum(abs(other - part) < OTHERS for other in mutes)


def _count(parts: list[int], part: int) -> int:
    """Return how many of some parts in order lie within OTHERS of one."""
    return bisect_right(parts, part + OTHERS) - bisect_left(parts, part - OTHERS)


def _found(powers: Array, before: int, count: int, zero: int, *, rises: bool) -> list[_Edge]:
    """Return the edges of some parts; for rises the powers are those of the time reversed."""
    sudden, least, second = sudden_falls(powers, before, count)
    steady = steady_falls(powers[1], before, count)
    places = np.union1d(sudden, steady)
    if not len(places):
        return []
    loud, quiet = sides(powers[1], places, (NEAR, BESIDE, CLOSE))
    least, second = (10.0 * np.log10(ratio[places - before + 1]) for ratio in (least, second))
    is_steady = np.isin(places, steady)
    brief = is_steady & (second < FALL)  # it rises again within the parts behind it
    least, second = (np.where(brief, loud[:, 0] - quiet[:, 2], ratio) for ratio in (least, second))
    chosen = (least >= LEAST_EDGE) & (second >= FALL) & (loud[:, 0] >= AUDIBLE)
    chosen &= loud[:, 1] - loud[:, 2] <= MOST_DECAY
    out: list[_Edge] = []
    for i in np.flatnonzero(chosen).tolist():
        k = int(places[i])
        edge = _Edge(
            zero + (powers.shape[1] - 1 - k if rises else k), rises, bool(is_steady[i]), float(least[i]),
            float(second[i]), float(loud[i, 0]), float(quiet[i, 0]), float(loud[i, 1] - loud[i, 2]),
            float(quiet[i, 2] - quiet[i, 1]),
        )  # fmt: skip
        if out and abs(edge.part - out[-1].part) < CLOSEST:
            kept, other = (edge, out[-1]) if edge.second > out[-1].second else (out[-1], edge)
            kept.steady |= other.steady
            out[-1] = kept
        else:
            out.append(edge)
    return out


@dataclass(frozen=True)
class _Sound:
    """The samples and levels of a channel about a stretch, and what they say about edges."""

    row: Samples
    here: Array
    zero: int
    """the side's part at the first part of the row"""
    part: int

    def outer(self, edge: _Edge, width: int) -> Array:
        """Return the spectrum of the louder side of an edge."""
        if ("outer", width) not in edge.spectra:
            k = edge.part - self.zero
            place = (k + 1, k + 1 + width) if edge.rises else (k - width, k)
            edge.spectra["outer", width] = _bands(self.row[place[0] * self.part : place[1] * self.part], self.part)
        return edge.spectra["outer", width]

    def inner(self, edge: _Edge, width: int) -> Array:
        """Return the spectrum of the quieter side of an edge."""
        if ("inner", width) not in edge.spectra:
            k = edge.part - self.zero
            place = (k - width, k) if edge.rises else (k + 1, k + 1 + width)
            edge.spectra["inner", width] = _bands(self.row[place[0] * self.part : place[1] * self.part], self.part)
        return edge.spectra["inner", width]

    def unlike(self, fall: _Edge, rise: _Edge, *, mute: bool, most: float) -> float:
        """Return the sum of the departures from a dropout, infinite or from `most` on where it is none."""
        length = rise.part - fall.part
        edges = _over(fall.decay, 2.0, 3.0) + _over(rise.decay, 3.0, 4.0)
        if not mute:
            edges += _over(abs(fall.second - rise.second), 4.0, 3.0)
            edges += _over(fall.second - fall.least, 4.0, 4.0) + _over(rise.second - rise.least, 5.0, 4.0)
        if not mute and length > BESIDE:
            edges += _over(abs(fall.hump), 2.0, 3.0) + _over(abs(rise.hump), 2.0, 3.0)
        if edges > most:
            return math.inf
        return edges + min(self._uneven(fall, rise, width, mute=mute) for width in (NEAR, NEARER))

    def _uneven(self, fall: _Edge, rise: _Edge, width: int, *, mute: bool) -> float:
        """Return the departures of the spectra of so many parts on the sides of two edges."""
        length = rise.part - fall.part
        before, after = self.outer(fall, width), self.outer(rise, width)
        top = np.maximum(before, after)
        strong = top > top.max() - RANGE
        unlike = _over(abs(fall.loud - rise.loud), 4.0, 8.0)
        unlike += _over(float(np.abs(before - after)[strong].mean()), 4.0, 6.0)
        if mute:
            return unlike if length <= LONGEST else 0.5 * unlike
        inside = min(width, length - 1)
        falls, rises = ((before - self.inner(fall, inside))[strong], (after - self.inner(rise, inside))[strong])
        by = _middle(falls), _middle(rises)
        if min(by) < LEAST_BANDS:
            return math.inf
        uneven = _spread(falls), _spread(rises), abs(by[0] - by[1])
        switched = _over(uneven[0], 1.3, 0.7) + _over(uneven[1], 1.6, 1.0) + _over(uneven[2], 1.5, 1.5)
        bands = _over(uneven[0], 2.5, 3.0) + _over(uneven[1], 3.0, 4.0) + _over(uneven[2], 4.0, 5.0)
        return min(switched, unlike + bands)


def _middle(values: Array) -> float:
    ordered = sorted(values.tolist())
    return 0.5 * (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2])


def _spread(values: Array) -> float:
    mean = sum(values.tolist()) / len(values)
    return math.sqrt(sum((value - mean) ** 2 for value in values.tolist()) / len(values))


@lru_cache(64)
def _window(length: int) -> Array:
    """Return a Hann window whose squares sum up to 1."""
    window = np.hanning(length + 2)[1:-1]
    return window / math.sqrt(float((window**2).sum()))


@lru_cache(64)
def _borders(lines: int, rate: int) -> NDArray[np.int64]:
    """Return the first line of each band of a spectrum, and the end of the last."""
    frequencies = np.geomspace(LOWEST_HZ, 0.25 * rate, BANDS + 1)
    return np.unique(np.ceil(frequencies * 2.0 * (lines - 1) / rate).astype(np.int64))


def _bands(sound: Samples, part: int) -> Array:
    """Return the mean levels of BANDS bands in dB; the sound is padded, so that those of any length compare."""
    rate = 1000 * part
    size = 1 << (NEAR * part - 1).bit_length()
    lines = np.fft.rfft(_window(len(sound) - 1) * (sound[1:] - sound[:-1]), size)
    spectrum = lines.real**2 + lines.imag**2
    borders = _borders(len(spectrum), rate)
    bands: Array = 10.0 * np.log10(np.add.reduceat(spectrum, borders)[:-1] / np.diff(borders) + 1e-14)
    return bands


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
        half = part // 2  # an edge lies within its part
        out.append(FoundDropout(first * part + half, end * part + half, name, depth))
    return out
