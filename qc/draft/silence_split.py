"""Find the tracks of a side from its silences, for a draft that the user will review."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from qc.groove.signal.programme import WINDOWS_A_SECOND, ProgrammeBounds

LEAST_SILENCE = Fraction(8, 10)
"""Least s without programme between two tracks (practice); shorter silences belong to the music."""


@dataclass(frozen=True, slots=True)
class FoundTrack:
    """Programme between two silences: exact start and end in s of the file, to 10 ms, and the silence before it."""

    start: Fraction
    end: Fraction
    silence_before: Fraction


def found_tracks(bounds: ProgrammeBounds, least: Fraction = LEAST_SILENCE) -> Sequence[FoundTrack]:
    """Split the programme at every silence of at least `least` seconds; no tracks where all is silent.

    A window of 10 ms that holds any programme belongs to its track, so no sound is left outside.
    """
    (there,) = bounds.programme.nonzero()
    if not len(there):
        return ()
    windows = least * WINDOWS_A_SECOND
    breaks = [i for i in range(1, len(there)) if there[i] - there[i - 1] - 1 >= windows]
    tracks: list[FoundTrack] = []
    before = 0
    for first, last in zip([0, *breaks], [*breaks, len(there)], strict=True):
        start, end = int(there[first]), int(there[last - 1]) + 1
        tracks.append(
            FoundTrack(
                Fraction(start, WINDOWS_A_SECOND),
                Fraction(end, WINDOWS_A_SECOND),
                Fraction(start - before, WINDOWS_A_SECOND),
            )
        )
        before = end
    return tuple(tracks)
