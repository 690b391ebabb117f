"""The recording curve of discs, and the emphasis of digital recorders, on music."""

from __future__ import annotations

import numpy as np

from qc.testing import faults
from support.planted_faults import Place, PlantedFault, Samples


def recording_curve(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Apply `strength` percent of the recording curve, in dB."""
    return faults.recording_curve(samples, rate, part=0.01 * strength), None


def emphasis(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Apply `strength` percent, in dB, of the emphasis of 50/15 us."""
    turn = 2j * np.pi * np.fft.rfftfreq(samples.shape[1], 1.0 / rate)
    gain = 0.01 * strength * (np.log1p(turn * 50e-6) - np.log1p(turn * 15e-6))
    y = np.fft.irfft(np.fft.rfft(samples) * np.exp(gain), samples.shape[1])
    return y * (np.abs(samples).max() / np.abs(y).max()), None


PERCENT = tuple(float(part) for part in range(10, 101, 10))

FAULTS = (
    PlantedFault("the recording curve", "programme.pre-emphasised", PERCENT, "%", recording_curve),
    PlantedFault("emphasis of 50/15 us", "programme.pre-emphasised", PERCENT, "%", emphasis),
)
