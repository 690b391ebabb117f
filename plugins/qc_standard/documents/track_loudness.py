"""Loudness of each declared track, and how they differ."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, ClassVar, Self

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Programme, Quantity
from qc.plugin_api.meters import sliding
from qc_standard.loudness import (
    HOP,
    MOMENTARY,
    SHORT_TERM,
    Loudness,
    LoudnessResult,
    ProgrammeLoudness,
    integrated_loudness,
    loudness_of,
)
from qc_standard.peaks import Peaks


@dataclass(frozen=True, slots=True)
class TrackLevel:
    """Loudness of one track: its place in the list, its times, LUFS of the whole and of its loudest 3 s."""

    index: int
    start_s: float
    end_s: float
    integrated: float
    short_term_max: float | None
    """None for less than 3 s"""

    @property
    def at(self) -> At:
        """Place of the track."""
        return At(start_s=self.start_s, end_s=self.end_s)


@dataclass(frozen=True, slots=True)
class TrackLevels:
    """Loudness of the tracks that have one, and of the peak of the side over its loudness, in dB."""

    tracks: tuple[TrackLevel, ...]
    peak_to_loudness: float | None


@dataclass(frozen=True)
class TrackLoudness(Derived[TrackLevels]):
    """Loudness of every declared track, the greatest jump between two neighbours, and the peak over the loudness."""

    top: float
    """Hz, edge of the chain's pass band: what lies above is no programme"""

    id: ClassVar[str] = "loudness.tracks"
    publishes: ClassVar[Mapping[str, str]] = {
        "loudness.loudest_track": "LUFS",
        "loudness.quietest_track": "LUFS",
        "loudness.greatest_jump": "LU",
        "loudness.peak_to_loudness": "LU",
    }
    meanings: ClassVar[Mapping[str, str]] = {
        "loudness.loudest_track": "Gated loudness (BS.1770-5) of the loudest declared track.",
        "loudness.quietest_track": "The same of the quietest declared track.",
        "loudness.greatest_jump": (
            "Greatest difference in loudness between two neighbouring tracks; its place is the start of the later one."
        ),
        "loudness.peak_to_loudness": (
            "True peak of the file less the loudness of the side: its crest. Heavy limiting leaves 8 LU or less."
        ),
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the loudness of all windows and of the side, the programme with its tracks, and the peaks."""
        return Loudness(), ProgrammeLoudness(self.top), Programme(self.top), Peaks()

    def work(self, measured: Measurements) -> TrackLevels:
        """Compute the loudness of every declared track."""
        levels = track_levels(measured[Loudness()], measured[Programme(self.top)].tracks)
        whole = measured[ProgrammeLoudness(self.top)].integrated
        peak = max(peak.true for peak in measured[Peaks()].peaks)
        has_crest = whole is not None and math.isfinite(whole) and peak > 0.0
        return TrackLevels(levels, 20.0 * math.log10(peak) - whole if has_crest and whole is not None else None)

    def publish(self, result: TrackLevels) -> Mapping[str, Quantity]:
        """Return the published numbers; no jump where fewer than two tracks have a loudness."""
        numbers = {}
        if result.peak_to_loudness is not None:
            numbers["loudness.peak_to_loudness"] = Quantity(value=result.peak_to_loudness, unit="LU")
        if not result.tracks:
            return numbers
        loudest = max(result.tracks, key=lambda track: track.integrated)
        quietest = min(result.tracks, key=lambda track: track.integrated)
        numbers["loudness.loudest_track"] = Quantity(value=loudest.integrated, unit="LUFS", at=loudest.at)
        numbers["loudness.quietest_track"] = Quantity(value=quietest.integrated, unit="LUFS", at=quietest.at)
        jumps = [
            (abs(later.integrated - track.integrated), later)
            for track, later in pairwise(result.tracks)
            if later.index == track.index + 1
        ]
        if jumps:
            jump, later = max(jumps, key=lambda found: found[0])
            numbers["loudness.greatest_jump"] = Quantity(value=jump, unit="LU", at=At(start_s=later.start_s))
        return numbers


def track_levels(loudness: LoudnessResult, tracks: Sequence[tuple[float, float]]) -> tuple[TrackLevel, ...]:
    """Return the loudness of each track, start and end in file seconds, that has one above the absolute gate."""
    part_s = loudness.hop_s / HOP
    levels, file_end = [], len(loudness.energies) * part_s
    for index, (start, declared_end) in enumerate(tracks):
        end = min(declared_end, file_end)
        parts = loudness.energies[max(0, math.ceil(start / part_s - 1e-6)) : max(0, int(end / part_s + 1e-6))]
        integrated = integrated_loudness(sliding(parts, MOMENTARY)[::HOP] / MOMENTARY)
        if integrated is None or not math.isfinite(integrated):
            continue
        short = sliding(parts, SHORT_TERM) / SHORT_TERM
        loudest = float(loudness_of(short.max())) if len(short) else None
        levels.append(TrackLevel(index, start, end, integrated, loudest))
    return tuple(levels)
