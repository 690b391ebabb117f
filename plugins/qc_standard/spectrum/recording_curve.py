"""How much of the recording curve of discs lies on the spectrum of a side, by octave, against that of music.

Music differs more from piece to piece than a tape's curve or the emphasis of a digital recorder changes it. The
recording curve is 30 dB from the lowest octave to the highest, and no music is as thin and as bright as music with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Chain, Derived, Measurements, Need, Quantity
from qc_standard.spectrum.spectra import OCTAVES_HZ, SideSpectra, Spectra

Array = NDArray[np.float64]

TIME_CONSTANTS = 3180e-6, 318e-6, 75e-6
"""s of the recording curve (EQ-1)."""
OCTAVES = slice(1, 10)
"""Octaves about 62.5 Hz to 16 kHz."""
MUSIC_DB: Array = np.array([-13.0, -6.5, 0.0, 1.5, 0.0, -3.0, -9.0, -17.5, -29.5])
"""Level of music in each of them against that about 1 kHz, the mean of 104 pieces (practice)."""
VARIES_DB: Array = np.array([12.0, 10.0, 6.0, 7.0, 7.0, 6.0, 5.0, 8.0, 13.0])
"""Standard deviation from piece to piece, apart from the level (practice)."""
LOUD = 1e-3
"""Part of the energy of the loudest spectrum from which on a spectrum counts: -30 dB."""
FEWEST = 20
"""Spectra that count, one a second, that this needs at the least (practice)."""
FLOOR = 1e-9
"""Part of the energy of a spectrum that each octave has at the least."""
LIKE_MUSIC_DB = 9.0
"""dB rms that the spectrum may lie off music, with the curve on it or without, so that it can be music (practice)."""


def recording_curve_db(hertz: Array) -> Array:
    """Return the gain of the recording curve in dB against 1 kHz (EQ-1, EQ-3)."""
    bass, middle, treble = TIME_CONSTANTS

    def gain(hz: Array) -> Array:
        turn = 2.0 * np.pi * hz
        squares = (1.0 + (turn * bass) ** 2) * (1.0 + (turn * treble) ** 2) / (1.0 + (turn * middle) ** 2)
        decibels: Array = 10.0 * np.log10(squares)
        return decibels

    return gain(hertz) - gain(np.array(1000.0))


@dataclass(frozen=True, slots=True)
class CurveFit:
    """Part of the recording curve that fits the spectrum best, beside a level that is free."""

    part: float
    with_db: float
    """dB rms by octave that the spectrum lies off that of music as it is"""
    without_db: float
    """dB rms that it lies off with the whole curve taken off"""


def fitted(levels_db: Array) -> CurveFit:
    """Fit levels in dB, one an octave; octaves in which music varies less count more."""
    weights = VARIES_DB**-2
    weights /= weights.sum()

    def centred(values: Array) -> Array:
        return values - float((weights * values).sum())

    off = centred(levels_db - MUSIC_DB)
    curve = centred(recording_curve_db(np.array(OCTAVES_HZ[OCTAVES])))
    part = float((weights * off * curve).sum() / (weights * curve**2).sum())
    with_db, without_db = (float(np.sqrt((weights * each**2).sum())) for each in (off, off - curve))
    return CurveFit(part, with_db, without_db)


def curve_fit(spectra: Spectra) -> CurveFit | None:
    """Fit the mean of the loud spectra, each with the same energy; None where few are loud, or they are not music."""
    power = spectra.octaves[:, :2, OCTAVES].sum(axis=1, dtype=np.float64)
    energy = power.sum(axis=1)
    loud = energy > LOUD * energy.max(initial=0.0)
    if int(loud.sum()) < FEWEST:
        return None
    mean = (power[loud] / energy[loud, None]).mean(axis=0)
    fit = fitted(10.0 * np.log10(mean + FLOOR))
    return fit if min(fit.with_db, fit.without_db) <= LIKE_MUSIC_DB else None


@dataclass(frozen=True)
class RecordingCurve(Derived[CurveFit | None]):
    """The recording curve on the spectrum of a side."""

    id: ClassVar[str] = "spectrum.recording-curve"
    publishes: ClassVar[Mapping[str, str]] = {
        "spectrum.recording_curve": "%", "spectrum.off_music": "dB", "spectrum.off_music_without_curve": "dB",
    }  # fmt: skip
    meanings: ClassVar[Mapping[str, str]] = {
        "spectrum.recording_curve": (
            "Part of the recording curve that makes the usual spectrum of music most like this one, from 63 Hz to 16 "
            "kHz by octave: 0 % for usual music, less for dull music; none where fewer than 20 s are loud, or the "
            "spectrum is not like music with or without the curve."
        ),
        "spectrum.off_music": "What the octaves lie off the usual spectrum of music, rms.",
        "spectrum.off_music_without_curve": "The same with the whole recording curve taken off.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra."""
        return (SideSpectra(),)

    def work(self, measured: Measurements) -> CurveFit | None:
        """Fit the curve."""
        return curve_fit(Spectra(measured[SideSpectra()]))

    def publish(self, result: CurveFit | None) -> Mapping[str, Quantity]:
        """Return the part and the evidence for it."""
        if result is None:
            return {}
        return {
            "spectrum.recording_curve": Quantity(value=100.0 * result.part, unit="%"),
            "spectrum.off_music": Quantity(value=result.with_db, unit="dB"),
            "spectrum.off_music_without_curve": Quantity(value=result.without_db, unit="dB"),
        }
