"""Loudness of a side (ITU-R BS.1770-5, EBU Tech 3341 and 3342)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Analysis, At, Block, Chain, Curve, Derived, Measurements, Need, Programme, Quantity, Stream
from qc.plugin_api.meters import KWeightedSums, part_frames, sliding

Array = NDArray[np.float64]

ABSOLUTE_GATE = -70.0
"""LUFS that a window must exceed to count (absolute gate)."""
INTEGRATED_GATE, RANGE_GATE = -10.0, -20.0
"""LU relative to all that passes the absolute gate (BS.1770-5; Tech 3342)."""
MOMENTARY, SHORT_TERM, HOP = 40, 300, 10
"""Parts of 10 ms in a window of 400 ms, of 3 s, and from one window to the next in gating and in curves."""

_OFFSET = -0.691
_LEAST = 1e-15


@dataclass(frozen=True, slots=True)
class Loudest:
    """The loudest of a kind of window: LUFS, and the file seconds it lies between."""

    loudness: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, eq=False)
class LoudnessResult:
    """Loudness of one side. None: shorter than a window; -inf: nothing above the absolute gate."""

    integrated: float | None
    """LUFS"""
    range: float | None
    """LU; None also when nothing is above the absolute gate"""
    momentary_max: Loudest | None
    short_term_max: Loudest | None
    momentary: Array
    """(windows,) LUFS of 400 ms, one every 100 ms; silence reads -150.7"""
    short_term: Array
    """(windows,) LUFS of 3 s, one every 100 ms"""
    hop_s: float
    """seconds from one window of the curves to the next; the first begins at 0"""
    energies: Array
    """(parts,) mean squares of both K-weighted channels by 10 ms, whole parts only"""

    @classmethod
    def of(cls, energies: Array, part_s: float, first: int = 0) -> Self:
        """Compute the result from the energies of parts of `part_s` seconds, starting at part `first`."""
        momentary = sliding(energies[first:], MOMENTARY) / MOMENTARY
        short_term = sliding(energies[first:], SHORT_TERM) / SHORT_TERM
        return cls(
            integrated_loudness(momentary[::HOP]),
            loudness_range(short_term[::HOP]),
            _loudest(momentary, MOMENTARY, part_s, first),
            _loudest(short_term, SHORT_TERM, part_s, first),
            loudness_of(momentary[::HOP]),
            loudness_of(short_term[::HOP]),
            HOP * part_s,
            energies,
        )


@dataclass(frozen=True)
class Loudness(Analysis[LoudnessResult]):
    """Loudness of the whole file, window by window; mono is measured as the dual mono it is cut as."""

    id: ClassVar[str] = "loudness.file"
    cost: ClassVar[float] = 0.9
    curve_units: ClassVar[Mapping[str, str]] = {"loudness.short_term": "LUFS"}

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _LoudnessMeter:
        """Return the initial state for a stream of two channels."""
        return _LoudnessMeter(stream)

    def curves(self, result: LoudnessResult) -> Mapping[str, Curve]:
        """Return the loudness of 3 s, at the middle of each."""
        middle = SHORT_TERM * result.hop_s / HOP / 2.0
        along = Curve(result.short_term, "LUFS", middle, result.hop_s, "Loudness, 3 s", "short-term")
        return {"loudness.short_term": along}


@dataclass(frozen=True)
class ProgrammeLoudness(Derived[LoudnessResult]):
    """Integrated loudness, range and the loudest windows of all that follows the line-up tones."""

    top: float
    """Hz, edge of the chain's pass band: what lies above is no programme"""

    id: ClassVar[str] = "loudness.programme"
    publishes: ClassVar[Mapping[str, str]] = {
        "loudness.integrated": "LUFS",
        "loudness.range": "LU",
        "loudness.momentary_max": "LUFS",
        "loudness.short_term_max": "LUFS",
    }
    meanings: ClassVar[Mapping[str, str]] = {
        "loudness.integrated": (
            "Gated loudness of the whole side (BS.1770-5), but for line-up tones at its head, which are not cut; mono "
            "is measured as it is cut, twice."
        ),
        "loudness.range": "Loudness range of the same (Tech 3342): how far soft and loud passages lie apart.",
        "loudness.momentary_max": "Loudness of the loudest 400 ms of the same.",
        "loudness.short_term_max": "Loudness of the loudest 3 s of the same.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the loudness of all windows, and the programme for its line-up tones."""
        return Loudness(), Programme(self.top)

    def work(self, measured: Measurements) -> LoudnessResult:
        """Compute the loudness of the audio after the last tone."""
        tones, loudness = measured[Programme(self.top)].tones, measured[Loudness()]
        if not tones:
            return loudness
        part_s = loudness.hop_s / HOP
        return LoudnessResult.of(loudness.energies, part_s, math.ceil(tones[-1].end_s / part_s - 1e-9))

    def publish(self, result: LoudnessResult) -> Mapping[str, Quantity]:
        """Return the published numbers; "<" -70 LUFS when nothing is above the absolute gate."""
        published = {}
        if result.integrated is not None:
            published["loudness.integrated"] = _lufs(result.integrated)
        if result.range is not None:
            published["loudness.range"] = Quantity(value=result.range, unit="LU")
        for name, loudest in (
            ("loudness.momentary_max", result.momentary_max),
            ("loudness.short_term_max", result.short_term_max),
        ):
            if loudest is not None:
                published[name] = _lufs(loudest.loudness, At(start_s=loudest.start_s, end_s=loudest.end_s))
        return published


class _LoudnessMeter:
    def __init__(self, stream: Stream) -> None:
        self._rate = stream.rate
        self._sums = KWeightedSums(stream.rate, part_frames(stream.rate), stream.frames)

    def push(self, block: Block) -> None:
        """Process the next block."""
        self._sums.push(block.samples)

    def finish(self) -> LoudnessResult:
        """Compute the loudness from the energies of 10 ms."""
        frames = self._sums.window
        sums, counts = self._sums.finish()
        return LoudnessResult.of(sums[counts == frames, 0] / frames, frames / self._rate)


def loudness_of(energies: Array) -> Array:
    """LUFS of mean squares of both K-weighted channels, any shape (BS.1770-5); silence reads -150.7."""
    levels: Array = _OFFSET + 10.0 * np.log10(np.maximum(energies, _LEAST))
    return levels


def integrated_loudness(energies: Array) -> float | None:
    """Gated loudness in LUFS of the mean squares of blocks of 400 ms, one every 100 ms (BS.1770-5).

    None without a block, -inf when no block is above the absolute gate.
    """
    if not len(energies):
        return None
    gated = energies[loudness_of(energies) > ABSOLUTE_GATE]
    if not len(gated):
        return -np.inf
    gate = float(loudness_of(gated.mean())) + INTEGRATED_GATE
    return float(loudness_of(gated[loudness_of(gated) > gate].mean()))


def loudness_range(energies: Array) -> float | None:
    """Loudness range in LU of the mean squares of windows of 3 s, one every 100 ms (EBU Tech 3342).

    From the 10th to the 95th percentile, nearest rank; None when no window reaches the absolute gate.
    """
    gated = energies[loudness_of(energies) >= ABSOLUTE_GATE]
    if not len(gated):
        return None
    gate = float(loudness_of(gated.mean())) + RANGE_GATE
    levels = np.sort(loudness_of(gated[loudness_of(gated) >= gate]))
    low, high = (int((len(levels) - 1) * percent / 100.0 + 0.5) for percent in (10, 95))
    return float(levels[high] - levels[low])


def _loudest(energies: Array, parts: int, part_s: float, first: int) -> Loudest | None:
    """Return the loudest of windows of `parts` parts, one every part; the first window starts at part `first`."""
    if not len(energies):
        return None
    k = int(np.argmax(energies))
    level = float(loudness_of(energies[k]))
    start = first + k
    return Loudest(level if level > ABSOLUTE_GATE else -np.inf, start * part_s, (start + parts) * part_s)


def _lufs(value: float, at: At | None = None) -> Quantity:
    if value == -np.inf:
        return Quantity(value=ABSOLUTE_GATE, unit="LUFS", bound="<")
    return Quantity(value=value, unit="LUFS", at=at)
