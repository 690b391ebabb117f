"""Find the tracks of a side from its silences, for a draft that the user will review."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from qc.groove.signal.programme import WINDOWS_A_SECOND, ProgrammeBounds
from qc.model.errors import SecondLookError
from qc.plugin_api import Samples

LEAST_SILENCE = Fraction(8, 10)
"""Least s without programme between two tracks (practice); shorter silences belong to the music."""
RINGING = 30
"""Most windows of 10 ms for which the high-pass of the programme rings on where a track ends hard (measured: 10)."""


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


def without_ringing(
    tracks: Sequence[FoundTrack], threshold: float, look: Callable[[float, float], Samples], rate: int
) -> Sequence[FoundTrack]:  # fmt: skip
    """Take windows off the end of each track in which the samples themselves are quiet: there only the filter rings.

    `threshold` is the mean square of programme, `look` returns the samples between two seconds of the file. An end
    that cannot be looked at stays as it is.
    """
    exact: list[FoundTrack] = []
    for track in tracks:
        first = max(track.start, track.end - Fraction(RINGING, WINDOWS_A_SECOND))
        try:
            samples = look(float(first), float(track.end))
        except SecondLookError:
            exact.append(track)
            continue
        windows = int((track.end - first) * WINDOWS_A_SECOND)
        edges = [round(i * rate / WINDOWS_A_SECOND) for i in range(windows + 1)]
        parts = (samples[:, low:high] for low, high in pairwise(edges))
        loud = [
            index for index, part in enumerate(parts) if part.size and (np.square(part).mean(axis=1) > threshold).any()
        ]
        end = first + Fraction(loud[-1] + 1, WINDOWS_A_SECOND) if loud else track.end
        before = track.start - exact[-1].end if exact else track.silence_before
        exact.append(replace(track, end=end, silence_before=before))
    return tuple(exact)
