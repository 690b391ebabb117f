"""The programme of a side: 10 ms windows well above the side's own noise floor, line-up tones left out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.groove.signal.band_power import BandParts
from qc.groove.signal.lineup_tones import LineupTone
from qc.model.cutting_chain import Chain
from qc.plugin_base import At, Derived, Measurements, Need, Quantity

WINDOWS_A_SECOND = 100
CLEAR = 10.0
"""dB by which a window is above the noise floor to be programme (practice). Hiss of 20 kHz scatters by 0.2 dB over
10 ms (200 independent values), noise of a third of an octave about 1 kHz by 2 dB."""
HIGHEST = -45.0
"""dBFS above which no noise floor lies (practice)."""
LOWEST = -70.0
"""dBFS below which it makes no difference: nothing under -60 dBFS is programme (practice)."""
ASSUMED = -60.0
"""dBFS, the noise floor of a side without a quiet second (practice)."""
STEADY = 6.0
"""dB that the loudest window of a quiet second is above its mean at the most: noise does not swing (practice)."""
BELOW = 25.0
"""dB by which a quiet second lies below the loudest second of the side at the least (practice)."""
SILENT = -100.0
"""dBFS up to which a second is digital silence, which is asked last (practice)."""
AFTER_TONES = 500
"""Windows of programme that follow line-up tones at the least; without them the tones are all there is (practice)."""
TAIL = 30
"""Windows behind the last line-up tone in which it may still end, and ring on in the high-pass."""
LOUDNESS = "loudness.integrated"
"""Name of the loudness in LUFS of what is cut, which levels and minutes depend on."""


@dataclass(frozen=True, eq=False)
class ProgrammeBounds:
    """The bounds of the programme: `first` and `last` in 10 ms windows from frame 0, None when silent."""

    first: int | None
    last: int | None
    power: NDArray[np.float32]
    """(2, windows): mean square of each channel from 20 Hz to the top; the last window may be a part"""
    duration_s: float
    floor: float = ASSUMED
    """noise floor, dBFS"""
    tones: tuple[LineupTone, ...] = ()
    """line-up tones at the head, which are no programme"""
    tracks: tuple[tuple[float, float], ...] = ()
    """start and end of each declared track, file seconds"""

    @classmethod
    def of(
        cls, power: NDArray[np.float32], duration_s: float, tones: tuple[LineupTone, ...] = (),
        tracks: Sequence[tuple[float, float]] = (),
    ) -> ProgrammeBounds:  # fmt: skip
        """Find the noise floor and the programme of a side from the powers of its windows.

        `tracks` are the starts and ends of the declared tracks in file seconds.
        """
        found = cls(None, None, power, duration_s, noise_floor(power, tracks), tones, tuple(tracks))
        if tones and int(found.programme.sum()) < AFTER_TONES:
            found = replace(found, tones=())
        (there,) = np.nonzero(found.programme)
        return replace(found, first=int(there[0]), last=int(there[-1])) if len(there) else found

    @property
    def threshold(self) -> float:
        """Mean square above which a window is programme."""
        return float(10.0 ** ((self.floor + CLEAR) / 10.0))

    @cached_property
    def programme(self) -> NDArray[np.bool_]:
        """Whether each window is programme in either channel, (windows,)."""
        clear: NDArray[np.bool_] = self.power.max(axis=0, initial=0.0) > self.threshold
        if self.tones:
            end = math.ceil(self.tones[-1].end_s * WINDOWS_A_SECOND)
            (quiet,) = np.nonzero(~clear[end : end + TAIL])
            clear[: end + int(quiet[-1]) if len(quiet) else end] = False
        return clear

    def by_parts(self, parts: int, seconds: float) -> NDArray[np.bool_]:
        """Whether each of `parts` stretches of `seconds` from frame 0 is programme, by the window at its middle.

        At most rates both are 10 ms; where that is no whole number of frames (44,056 Hz) a part is a little longer.
        """
        windows = ((np.arange(parts) + 0.5) * (seconds * WINDOWS_A_SECOND)).astype(np.int64)
        found = np.zeros(parts, dtype=np.bool_)
        inside = windows < len(self.programme)
        found[inside] = self.programme[windows[inside]]
        return found

    @property
    def start_s(self) -> float:
        """Start of the first window with programme, in file seconds."""
        return (self.first or 0) / WINDOWS_A_SECOND

    @property
    def end_s(self) -> float:
        """End of the last window with programme, in file seconds."""
        return min(self.duration_s, ((self.last or 0) + 1) / WINDOWS_A_SECOND)

    def declared(self, tracks: Sequence[tuple[Fraction, Fraction]]) -> ProgrammeBounds:
        """Return the same with declared tracks, by start and end in file seconds.

        Noise is looked for outside them first. Tones that end after the first of them has begun are programme: the
        declaration wins.
        """
        if not tracks:
            return self
        first = min(start for start, _ in tracks)
        before = self.tones
        if before and before[-1].end_s > first:
            before = tuple(tone for tone in before if tone.end_s <= first)
        return ProgrammeBounds.of(
            self.power, self.duration_s, before, [(float(start), float(end)) for start, end in tracks]
        )


def with_exact_end(tones: tuple[LineupTone, ...], power: NDArray[np.float32]) -> tuple[LineupTone, ...]:
    """Return the tones with the end of the last one by the powers of 10 ms windows: tones are found by 100 ms."""
    if not tones:
        return tones
    last = tones[-1]
    full, end = 10.0 ** (last.level / 10.0) / 2.0, last.end_s
    after = round(end * WINDOWS_A_SECOND)
    for square in power[:, after : after + WINDOWS_A_SECOND // 10].max(axis=0).tolist():
        end += min(1.0, square / full) / WINDOWS_A_SECOND
        if square < full / 2.0:
            break
    return (*tones[:-1], replace(last, end_s=end))


def noise_floor(power: NDArray[np.float32], tracks: Sequence[tuple[float, float]] = ()) -> float:
    """Find the noise floor of a side in dBFS from the powers of its 10 ms windows, (2, windows).

    `tracks` are the starts and ends of the declared tracks in file seconds. The rule is that of the measurement
    programme.noise_floor.
    """
    louder = power.max(axis=0, initial=0.0).astype(np.float64)
    seconds = louder[: len(louder) // WINDOWS_A_SECOND * WINDOWS_A_SECOND].reshape(-1, WINDOWS_A_SECOND)
    if not len(seconds):
        return ASSUMED
    mean, most = seconds.mean(axis=1), seconds.max(axis=1)
    low = min(_square(HIGHEST), float(mean.max()) * _square(-BELOW))
    quiet = (mean <= low) & (most <= mean * _square(STEADY))
    if not quiet.any():
        return ASSUMED
    noise = quiet & (mean > _square(SILENT))
    if not noise.any():
        return LOWEST
    outside = noise & ~_touched(len(mean), tracks) if tracks else np.zeros_like(noise)
    if outside.any():
        return max(LOWEST, _level(mean[outside]))
    floor = _level(mean[noise])
    return max(LOWEST, min(floor, ASSUMED) if (quiet & ~noise).any() else floor)


def _touched(seconds: int, tracks: Sequence[tuple[float, float]]) -> NDArray[np.bool_]:
    """Whether each second from 0 has a part of a declared track in it, (seconds,)."""
    touched = np.zeros(seconds, dtype=np.bool_)
    for start, end in tracks:
        touched[max(0, math.floor(start)) : math.ceil(end)] = True
    return touched


def _level(means: NDArray[np.float64]) -> float:
    """Level in dBFS of the least of some mean squares."""
    return 10.0 * math.log10(float(means.min()))


def _square(level: float) -> float:
    """Mean square of a level in dBFS."""
    return float(10.0 ** (level / 10.0))


@dataclass(frozen=True)
class Programme(Derived[ProgrammeBounds]):
    """Finds the noise floor, the first and the last programme of a side, and the line-up tones before it."""

    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "groove.programme"
    publishes: ClassVar[Mapping[str, str]] = {
        "layout.lead_in_silence": "s", "layout.lead_out_silence": "s", "programme.noise_floor": "dBFS",
        "programme.duration": "s",
    }  # fmt: skip
    meanings: ClassVar[Mapping[str, str]] = {
        "layout.lead_in_silence": "Silence in the file before the first programme, or since the last line-up tone.",
        "layout.lead_out_silence": "Silence in the file after the last programme.",
        "programme.duration": "Seconds from the first to the last programme, with every pause between.",
        "programme.noise_floor": (
            "Level of the side's own noise, from which programme is told. The signal passes the chain's top and then "
            "a 4th-order Butterworth high-pass at 20 Hz, forward, as if its first sample had lasted for ever before. "
            "Its mean square is taken over windows of 10 ms, consecutive from frame 0, of the louder channel. In each "
            "channel the first 20 windows, in which the high-pass settles, count as no more than the same high-pass "
            "gives when it runs backward from the end of the 50th. A second is 100 windows, consecutive from frame 0. "
            "A second is quiet when its mean is at most -45 dBFS and at least 25 dB below that of the loudest second, "
            "and none of its windows is more than 6 dB above its mean. The noise floor is the mean of the quietest "
            "such second above -100 dBFS that no declared track reaches into, or where there is none the quietest of "
            "all, and then no more than -60 dBFS where another quiet second is digital silence. It never counts as "
            "less than -70 dBFS; where all quiet seconds are digital silence it is -70 dBFS, without a quiet second "
            "-60 dBFS. A window is programme when either channel is more than 10 dB above the noise floor. Line-up "
            "tones at the head are no programme, nor is anything before the end of the last one and the 0.3 s in "
            "which it rings on: steady sines of 2 s or more, each 100 ms of them a single line to 30 dB that keeps "
            "its level to 0.2 dB and its frequency to 1 %, with at most 0.4 s of anything else between two of them "
            "and 5 s or more of programme behind them, unless a track is declared to begin before they end."
        ),
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Ask for the energies of 10 ms."""
        return (BandParts(self.top),)

    def work(self, measured: Measurements) -> ProgrammeBounds:
        """Find where the programme lies."""
        band = measured[BandParts(self.top)]
        tones = with_exact_end(band.tones, band.power)
        return ProgrammeBounds.of(band.power, measured.stream.frames / measured.stream.rate, tones)

    def publish(self, result: ProgrammeBounds) -> Mapping[str, Quantity]:
        """Noise floor in dBFS; length of the programme and silence before and after it, in s."""
        floor = {"programme.noise_floor": Quantity(value=result.floor, unit="dBFS")}
        if result.first is None:
            return floor
        tail, since = result.duration_s - result.end_s, result.tones[-1].end_s if result.tones else 0.0
        return floor | {
            "programme.duration": Quantity(
                value=result.end_s - result.start_s, unit="s", at=At(start_s=result.start_s, end_s=result.end_s)
            ),
            "layout.lead_in_silence": Quantity(
                value=max(0.0, result.start_s - since), unit="s", at=At(start_s=since, end_s=result.start_s)
            ),
            "layout.lead_out_silence": Quantity(
                value=tail, unit="s", at=At(start_s=result.end_s, end_s=result.duration_s)
            ),
        }
