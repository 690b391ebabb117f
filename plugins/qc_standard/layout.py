"""Layout of a side: the declared tracks, and the measured programme and silences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import ProgrammeBounds
from qc.plugin_api.groove_model import LEAST_GAP, WINDOWS_A_SECOND

SHORTEST = 30
"""Windows of 10 ms that a silence lasts at the least: 0.3 s, what a gap must have to be opened into a mark."""


@dataclass(frozen=True, slots=True)
class DeclaredTrack:
    """A track as the delivery declares it: its place in the list, number, start and end in file seconds."""

    index: int
    number: int
    start: float
    end: float
    segue: bool
    """whether it runs into the next one without a gap"""

    @property
    def seconds(self) -> float:
        """Length in s."""
        return self.end - self.start

    @classmethod
    def every(cls, declared: Mapping[str, Any]) -> list[DeclaredTrack]:
        """Return the tracks of a side that have both a start and an end."""
        return [
            cls(i, int(track["number"]), float(track["start"]), float(track["end"]), track.get("gap_after") == "segue")
            for i, track in enumerate(declared.get("tracks", ()))
            if "end" in track and "start" in track
        ]


def same_programme(first: ProgrammeBounds, second: ProgrammeBounds) -> bool:
    """Whether two sides have the same length and the same power in each 10 ms."""
    return first.duration_s == second.duration_s and np.array_equal(first.power, second.power)


@dataclass(frozen=True, slots=True)
class SilentStretch:
    """Silent windows of 10 ms from `first` to before `end`, counted from frame 0 of the file."""

    first: int
    end: int

    @property
    def start_s(self) -> float:
        """Start in file seconds."""
        return self.first / WINDOWS_A_SECOND

    @property
    def end_s(self) -> float:
        """End in file seconds."""
        return self.end / WINDOWS_A_SECOND

    @property
    def seconds(self) -> float:
        """Length in s."""
        return (self.end - self.first) / WINDOWS_A_SECOND


def sounding(bounds: ProgrammeBounds) -> NDArray[np.bool_]:
    """Whether each window of 10 ms holds programme, (windows,)."""
    return bounds.programme


def silences(bounds: ProgrammeBounds) -> list[SilentStretch]:
    """Return every silence of 0.3 s or more between the first and the last programme, in order."""
    (there,) = np.nonzero(sounding(bounds))
    gaps = np.flatnonzero(np.diff(there) > SHORTEST)
    return [SilentStretch(int(there[k]) + 1, int(there[k + 1])) for k in gaps]


def gaps(tracks: list[DeclaredTrack]) -> Iterator[tuple[DeclaredTrack, DeclaredTrack]]:
    """Yield the tracks before and after every declared gap of more than 0.3 s; a segue has none."""
    for track, following in pairwise(tracks):
        if not track.segue and following.start - track.end > float(LEAST_GAP):
            yield track, following


def within(start_s: float, end_s: float) -> slice:
    """Return the slice of whole windows of 10 ms between two file seconds."""
    first = int(np.ceil(start_s * WINDOWS_A_SECOND - 1e-6))
    return slice(first, max(first, int(end_s * WINDOWS_A_SECOND + 1e-6)))
