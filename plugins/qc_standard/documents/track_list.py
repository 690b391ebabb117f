"""A track list compared with the starts that are found: as it is, with two tracks exchanged, at another speed.

Only starts after a silence can be found in the sound, so only those count; a list without one is compared by its end. A
list that is changed, or that of another side, is taken for the right one only where chance would seldom fit as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import ProgrammeBounds
from qc_standard.layout import DeclaredTrack, gaps, silences

Array = NDArray[np.float64]

NEAR_S = 1.5
"""Greatest distance in s between a listed and a measured time that are the same: lists are often rounded to the second,
and music that fades in is found late."""
MOVED_S, MOVED_FINE_S = 1.0, 0.25
"""Distance in s beyond which a time has moved with the speed: of a list rounded to the second, and of a finer one."""
CLEARLY = 4.0
"""Factor by which the greatest move is more than what is left of it at the other speed."""
LEAST_FINE = 3
"""Starts that a finer list must have: fewer may be late by as much because the music fades in."""
FINEST_S = 0.03
"""Distance in s below which a closer fit proves nothing more: three windows of 10 ms."""
UNLIKE_S = 3.0
"""Difference in length from which an exchange of two tracks can be known by it, in s."""
BY_CHANCE = 0.01
"""Greatest number of such fits that chance would give, for a fit to count (practice)."""
SLOWEST, FASTEST = 0.7, 1.45
"""Speeds that are tried: a little beyond 33 1/3 for 45 and the reverse."""


@dataclass(frozen=True, slots=True)
class MeasuredTimes:
    """The times at which the music of a side starts after a silence of 0.3 s or more, and where it begins and ends."""

    starts: Array
    """(starts,) file seconds, in order, without the first start of the side"""
    begin_s: float
    end_s: float

    @classmethod
    def of(cls, bounds: ProgrammeBounds) -> MeasuredTimes:
        """Return the times of a side's programme."""
        return cls(np.array([silence.end_s for silence in silences(bounds)]), bounds.start_s, bounds.end_s)


def distances(times: Array, measured: Array) -> Array:
    """Return the distance in s of each time from the nearest measured one, infinite where none is."""
    apart: Array = np.abs(times[:, None] - measured).min(axis=1, initial=np.inf)
    return apart


@dataclass(frozen=True, slots=True)
class Fit:
    """How many times of a list are found, and the greatest distance of those from the list."""

    found: int
    of: int
    worst_s: float
    what: str
    """"starts", or "ends" for a list without starts after a silence"""
    chance: float
    """expected number of fits as good by chance"""

    @property
    def whole(self) -> bool:
        """Whether every time of the list is found, and not by chance."""
        return self.found == self.of and self.chance <= BY_CHANCE

    @property
    def words(self) -> str:
        """The fit in a sentence: "4 of 4 starts within 0.2 s"."""
        within = f" within {max(1.0, np.ceil(10.0 * self.worst_s - 1e-6)) / 10.0:.1f} s" if self.found else ""
        return f"{self.found} of {self.of} {self.what}{within}"


@dataclass(frozen=True, slots=True)
class ListedTimes:
    """The times of a track list that can be found in the sound."""

    times: Array
    what: str

    @classmethod
    def of(cls, tracks: Sequence[DeclaredTrack]) -> ListedTimes:
        """Return the starts after a gap of some tracks, or the end of the last where there is none."""
        starts = [following.start for _, following in gaps(list(tracks))]
        return cls(np.array(starts), "starts") if starts else cls(np.array([tracks[-1].end]), "ends")

    def fit(self, measured: MeasuredTimes, tries: int = 1, near_s: float = NEAR_S) -> Fit:
        """Compare with what is measured within `near_s`; `tries` is the number of lists of which this is the best."""
        there = measured.starts if self.what == "starts" else np.array([measured.end_s])
        apart = distances(self.times, there)
        close = apart <= near_s
        worst = float(apart[close].max(initial=0.0))
        density = max(len(there), 1) / max(1.0, measured.end_s - measured.begin_s)
        by_chance = tries * min(1.0, 2.0 * max(FINEST_S, worst) * density) ** len(self.times)
        return Fit(int(close.sum()), len(self.times), worst, self.what, by_chance)


# -- another side ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OtherList:
    """The list of another side that a side's audio fits, and how its own fits."""

    side: str
    fit: Fit
    own: Fit


def list_of_another_side(side: str, measured: MeasuredTimes, lists: dict[str, list[DeclaredTrack]]) -> OtherList | None:
    """Return the list that fits a side's audio, by side, where its own does not fit half of its times."""
    own = ListedTimes.of(lists[side]).fit(measured)
    others = [(other, ListedTimes.of(tracks)) for other, tracks in lists.items() if other != side]
    fits = [OtherList(other, times.fit(measured, len(others)), own) for other, times in others]
    whole = [found for found in fits if found.fit.whole and 2 * own.found <= own.of]
    return min(whole, key=lambda found: found.fit.chance, default=None)


# -- two tracks of a side --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ExchangedTracks:
    """Two tracks that lie in each other's place, the fit with their lengths exchanged, and that of the list."""

    first: DeclaredTrack
    second: DeclaredTrack
    fit: Fit
    own: Fit


def exchanged_tracks(tracks: Sequence[DeclaredTrack], measured: MeasuredTimes) -> ExchangedTracks | None:
    """Return the two tracks whose exchange makes the list fit, or None where none does or the list fits."""
    own = ListedTimes.of(tracks).fit(measured)
    if own.what != "starts" or own.found == own.of:
        return None
    listed = ListedTimes.of(tracks).times
    missed = distances(listed, measured.starts) > NEAR_S
    found = []
    for i, j in combinations(range(len(tracks)), 2):
        if abs(tracks[i].seconds - tracks[j].seconds) < UNLIKE_S:
            continue
        times = ListedTimes.of(with_lengths_exchanged(tracks, i, j)).times
        if len(times) != len(listed) or not np.array_equal(np.abs(times - listed) > NEAR_S, missed):
            continue
        fit, alone = (ListedTimes(some, "starts").fit(measured) for some in (times, times[missed]))
        if fit.found == fit.of and alone.whole:
            found.append(ExchangedTracks(tracks[i], tracks[j], replace(fit, chance=alone.chance), own))
    return min(found, key=lambda pair: pair.fit.chance, default=None)


def with_lengths_exchanged(tracks: Sequence[DeclaredTrack], i: int, j: int) -> list[DeclaredTrack]:
    """Return the tracks with the lengths of two exchanged; every gap keeps its length and place in the order."""
    lengths = [track.seconds for track in tracks]
    lengths[i], lengths[j] = lengths[j], lengths[i]
    shifted, start = [], tracks[0].start
    for k, track in enumerate(tracks):
        shifted.append(replace(track, start=start, end=start + lengths[k]))
        if k + 1 < len(tracks):
            start += lengths[k] + tracks[k + 1].start - track.end
    return shifted


# -- another speed ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OtherSpeed:
    """The speed at which the list fits, 1.01 for 1 % fast, and how it fits then and as it is."""

    speed: float
    fit: Fit
    own: Fit


def other_speed(tracks: Sequence[DeclaredTrack], measured: MeasuredTimes) -> OtherSpeed | None:
    """Return the speed that makes a list fit, or None where none does or the list fits.

    The times run from the start of the file, or from that of the first track, for silence is often added later.
    """
    listed = ListedTimes.of(tracks)
    fine = len(listed.times) >= LEAST_FINE and bool((listed.times % 1.0 != 0.0).any())
    own = listed.fit(measured, near_s=MOVED_FINE_S if fine else MOVED_S)
    if own.what != "starts" or 2 * own.found > own.of:
        return None
    times = listed.times if own.of > 1 else np.append(listed.times, tracks[-1].end)
    there = measured.starts if own.of > 1 else np.append(measured.starts, measured.end_s)
    extended = replace(measured, starts=there)
    tried = list(_stretches(times, there, ((0.0, 0.0), (tracks[0].start, measured.begin_s))))
    found = []
    for stretch, from_s, to_s in tried:
        fit = ListedTimes(to_s + stretch * (times - from_s), "starts").fit(extended)
        # one time was used to find the speed, so that it proves nothing
        chance = len(tried) * fit.chance ** ((fit.of - 1) / fit.of)
        moved = float(np.abs(to_s + stretch * (times - from_s) - times).max())
        if fit.found == fit.of and chance <= BY_CHANCE and moved >= max(MOVED_S, CLEARLY * fit.worst_s):
            nearest = np.array([there[np.argmin(np.abs(there - time))] for time in to_s + stretch * (times - from_s)])
            slope = float(np.dot(times - from_s, nearest - to_s) / np.dot(times - from_s, times - from_s))
            found.append(OtherSpeed(1.0 / slope, replace(fit, chance=chance), own))
    return min(found, key=lambda speed: speed.fit.chance, default=None)


def _stretches(
    times: Array, there: Array, anchors: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, float, float]]:  # fmt: skip
    """Yield each stretch that puts the last listed time on a measured one, with the times that it runs from."""
    for from_s, to_s in dict.fromkeys(anchors):
        for second in there:
            stretch = float((second - to_s) / (times[-1] - from_s)) if times[-1] > from_s else 0.0
            if 1.0 / FASTEST <= stretch <= 1.0 / SLOWEST:
                yield stretch, from_s, to_s
