"""Stretches that come twice in a row, as a buffer that slips leaves them.

Landmarks are the greatest samples of 3 ms. Where two of them within LONGEST are equal, the samples about them are
compared with those one lag earlier, and on both sides as far as they are the same. Music repeats too: a tone after its
period, a struck sound that is triggered again. So the stretch has to begin amid a sound, both its ends must be sharp,
and a tone has to begin with a jump that its first copy does not begin with.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api.kernels import kernel

Samples = NDArray[np.float32]
Array = NDArray[np.float64]

SHORTEST_S, LONGEST_S = 0.004, 0.21
"""Shortest and longest lag of a repeat, and the shortest stretch."""
MOST_TIMES = 4
"""A stretch that comes more often than this is no slip."""
LEAST = 0.003
"""Least height of a landmark: -50 dBFS (practice)."""
TOLERANCE, PART = 6e-4, 0.02
"""Difference of equal landmarks: of noise at -80 dBFS, and at most this part of their height."""
LOOSE = 0.3
"""Difference half a millisecond beside equal landmarks, over their height, beyond which they are not compared."""
SAME = 0.01
"""Rms of the differences over that of the stretch, of stretches that are the same: -40 dB (practice)."""
NOISE = 3e-7
"""Least difference that is allowed for: the rounding of 24 bits."""
OUTSIDE = 0.1
"""Rms of the differences over that of the stretch, right before and behind it: -20 dB (practice)."""
ENDS_S = 0.002
"""Time before and behind it."""
JUMP = 3.0
"""Fourth difference at its beginning over that at the beginning of its first copy, that beside, and half the greatest
of its own (practice), of a tone."""
ONSET = 8.0
"""Ratio of powers behind and before the first copy's beginning from which a sound begins there: 9 dB (practice)."""
TONE = 0.8
"""Greatest correlation of the stretch with itself, later, from which it is a tone (practice)."""
TRIES = 60
"""Most comparisons in a stretch of 2 s of a channel."""
FIRST, END, LAG = range(3)


@dataclass(frozen=True, slots=True)
class FoundRepeat:
    """A stretch that repeats the one before it: first frame, end, channel (empty: both), and the lag in frames."""

    first: int
    end: int
    channel: str
    lag: int


@kernel
def _highest(row: Samples, part: int, most: Samples) -> None:
    """Compute the greatest sample of each part."""
    half = (part + 1) // 2
    quarter = (half + 1) // 2
    eighth = (quarter + 1) // 2
    two, four, eight = np.empty(half, np.float32), np.empty(quarter, np.float32), np.empty(eighth, np.float32)
    two_on, four_on = two[half - quarter :], four[quarter - eighth :]
    for k in range(len(most)):
        low, high = row[k * part : k * part + half], row[k * part + part - half : k * part + part]
        for j in range(half):
            two[j] = max(low[j], high[j])
        for j in range(quarter):
            four[j] = max(two[j], two_on[j])
        for j in range(eighth):
            eight[j] = max(four[j], four_on[j])
        greatest = eight[0]
        for j in range(1, eighth):
            greatest = max(greatest, eight[j])
        most[k] = greatest


@kernel
def _landmarks(row: Samples, part: int, most: Samples, places: NDArray[np.int64]) -> int:
    """Find the greatest samples of each three parts; return how many."""
    count = 0
    for k in range(1, len(most) - 1):
        if most[k] >= LEAST and most[k] >= most[k - 1] and most[k] > most[k + 1]:
            at = k * part
            while row[at] != most[k]:
                at += 1
            places[count] = at
            count += 1
    return count


@kernel
def _apart(row: Samples, at: int, lag: int, reach: int) -> float:
    """Return the rms difference of the samples about a place from those a lag earlier."""
    total = 0.0
    for i in range(at - reach, at + reach + 1):
        total += (row[i] - row[i - lag]) ** 2
    return np.sqrt(total / (2 * reach + 1))


@kernel
def _extent(row: Samples, at: int, lag: int, allowed: float, found: NDArray[np.int64]) -> bool:
    """Find the stretch about a place that is the same a lag earlier; return whether it has two ends."""
    first, end = at, at + 1
    least, most = max(lag, at - MOST_TIMES * lag), min(len(row), at + MOST_TIMES * lag)
    while first > least and abs(row[first - 1] - row[first - 1 - lag]) <= allowed:
        first -= 1
    while end < most and abs(row[end] - row[end - lag]) <= allowed:
        end += 1
    found[FIRST], found[END], found[LAG] = first, end, lag
    return first > least and end < most


@kernel
def _nearest(row: Samples, at: int, lag: int, reach: int) -> tuple[float, int]:
    """Return the least rms difference about a place for lags near one, and that lag: noise moves a landmark."""
    best, nearest = _apart(row, at, lag, reach), lag
    for near in range(lag - 3, lag + 4):
        apart = _apart(row, at, near, reach)
        if apart < best:
            best, nearest = apart, near
    return best, nearest


@kernel
def _try(row: Samples, at: int, lag: int, shortest: int, found: NDArray[np.int64]) -> int:
    """Find the stretch about a place that is the same some lag earlier: 1 if it may be a repeat, 2 if it is steady.

    The result is 0 where the places are only a little alike, and 3 where the stretch is too short.
    """
    allowed = min(TOLERANCE, PART * row[at])
    if abs(row[at] - row[at - lag]) > allowed:
        return 0
    reach = shortest // 8
    before = abs(row[at - reach] - row[at - reach - lag])
    behind = abs(row[at + reach] - row[at + reach - lag])
    if max(before, behind) > LOOSE * row[at]:
        return 0
    best, nearest = _nearest(row, at, lag, reach)
    if best > allowed:
        return 0
    has_ends = _extent(row, at, nearest, max(5.0 * best, NOISE), found)
    length = found[END] - found[FIRST]
    if has_ends and length >= max(shortest, 0.9 * nearest):
        return 1
    return 2 if not has_ends and length > 2 * nearest else 3


@kernel
def _repeats(row: Samples, places: NDArray[np.int64], shortest: int, longest: int, found: NDArray[np.int64]) -> int:
    """Find stretches that are the same a lag earlier, (most, 3); return how many."""
    count, tries, done = 0, 0, longest + shortest
    heights = np.empty(len(places), np.float32)  # side by side: the samples themselves lie far apart in memory
    for i in range(len(places)):
        heights[i] = row[places[i]]
        at, back, tried = places[i], 1, 0
        allowed = min(TOLERANCE, PART * heights[i])
        if at >= len(row) - shortest:
            break
        while at >= done and back <= i and at - places[i - back] <= longest and tries < TRIES and count < len(found):
            lag, unlike = at - places[i - back], abs(heights[i] - heights[i - back]) > allowed
            back += 1
            if lag >= shortest and not unlike:
                tried = _try(row, at, lag, shortest, found[count])
                tries += tried > 0
            if tried in (1, 2):
                done = found[count, END]
                count += tried == 1
    return count


class RepeatSearch:
    """Repeats of one channel."""

    def __init__(self, part: int) -> None:
        self._part, self._rate = part, 1000 * part
        self._shortest, self._longest = round(SHORTEST_S * self._rate), round(LONGEST_S * self._rate)

    def find(self, row: Samples, begin: int, end: int) -> Iterator[tuple[int, int, int]]:
        """Yield first sample, end and lag of the repeats in a row of whole parts that begin in some of its samples."""
        part = self._part
        most = np.empty(len(row) // part, np.float32)
        _highest(row, part, most)
        places = np.empty(len(most), np.int64)
        places = places[: _landmarks(row, part, most, places)]
        found = np.zeros((16, 3), np.int64)
        count = _repeats(row, places, self._shortest, self._longest, found)
        for first, stop, lag in found[:count].tolist():
            zero = max(0, first - lag - 5 * part)
            near = row[zero : stop + 5 * part].astype(np.float64)
            if begin <= first < end and self._is_slip(near, first - zero, stop - zero, lag):
                yield first, stop, lag

    def _is_slip(self, row: Array, first: int, end: int, lag: int) -> bool:
        """Whether a stretch that is the same a lag earlier begins and ends as a slip does."""
        width = round(ENDS_S * self._rate)
        if first - lag - 2 * width < 4 or end + width > len(row):
            return False
        same = row[first:end]
        level = float(np.sqrt(np.mean(same**2)))
        if _rms(same - row[first - lag : end - lag]) > SAME * level:
            return False
        gap = self._part // 4
        outside = slice(first - width, first - gap), slice(end + gap, end + width)
        if min(_rms(row[side] - row[side.start - lag : side.stop - lag]) for side in outside) < OUTSIDE * level:
            return False
        copy = first - lag
        if float(np.mean(row[copy : copy + width] ** 2)) > ONSET * float(np.mean(row[copy - width : copy] ** 2)):
            return False
        bend = np.abs(np.diff(row[first - width - 2 : first + width + 2], 4))
        jump = float(bend[width - 2 : width + 2].max())
        before = np.abs(np.diff(row[copy - 5 : copy + 5], 4))
        beside = float(np.sqrt(np.mean(bend[: width - 4] ** 2)))
        if not self._tone(same[:lag]):
            return True
        own = np.abs(np.diff(same[width : min(lag, len(same)) - 4], 4))
        greatest = max(float(before.max()), beside, 0.5 * float(own.max()))
        return jump > JUMP * greatest

    def _tone(self, sound: Array) -> bool:
        """Whether a sound is much like itself some time later."""
        n = len(sound)
        size = 1 << (2 * n - 1).bit_length()
        spectrum = np.fft.rfft(sound, size)
        products = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, size)[:n]
        power = np.concatenate([[0.0], np.cumsum(sound**2)])
        lags = np.arange(n)
        both = power[n - lags] + power[n] - power[lags]
        alike = 2.0 * products / np.maximum(both, 1e-12)
        below = np.flatnonzero(alike < 0.0)
        return not len(below) or float(alike[below[0] : n - n // 4].max(initial=0.0)) > TONE


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def in_both(by_channel: list[list[FoundRepeat]], apart: int) -> list[FoundRepeat]:
    """Return the repeats of all channels in order of time, those at the same place in both as one."""
    out: list[FoundRepeat] = []
    for repeat in sorted((found for channel in by_channel for found in channel), key=lambda found: found.first):
        if out and repeat.channel != out[-1].channel and abs(repeat.first - out[-1].first) <= apart:
            out[-1] = FoundRepeat(out[-1].first, max(repeat.end, out[-1].end), "", out[-1].lag)
        else:
            out.append(repeat)
    return out
