"""Steady noise after the last note: hiss or hum that was left in the file."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Quantity
from qc_standard.spectrum.hum import FAMILIES, HumStretch
from qc_standard.spectrum.low_band import LINES, LowBandFrames
from qc_standard.spectrum.steady import SteadyLine

TENTH = 10
"""Windows of 10 ms in a tenth of a second."""
SECOND = 10
"""Tenths that noise lasts at the least."""
SILENT = 1e-9
"""Mean square up to which a tenth is silent: -90 dBFS."""
STEADY = 10.0**0.15
"""Power by which the two halves of a second of noise may differ: 1.5 dB. Reverberation of 10 s falls by 3 dB."""
EVEN = 10.0**0.3
"""Power by which a tenth may differ from the mean of its second: 3 dB."""
LEFT = 0.2
"""Part of the power that hum and steady lines must leave for noise beside them: -7 dB (practice)."""


@dataclass(frozen=True, slots=True)
class SteadyNoise:
    """Noise of `level` dBFS between two file seconds."""

    level: float
    start_s: float
    end_s: float

    def quantity(self, track: int | None = None) -> Quantity:
        """Return the level with its place."""
        return Quantity(value=self.level, unit="dBFS", at=At(start_s=self.start_s, end_s=self.end_s, track=track))


def is_steady(second: NDArray[np.float64]) -> bool:
    """Whether the mean squares of the ten tenths of a second are those of noise, which neither swings nor fades."""
    mean, half = float(second.mean()), SECOND // 2
    early, late = float(second[:half].mean()), float(second[half:].mean())
    steady = max(early, late) <= STEADY * min(early, late)
    return steady and bool(second.max() <= EVEN * mean and second.min() * EVEN >= mean)


def noise_after(power: NDArray[np.float32], end: int, stop: int) -> SteadyNoise | None:
    """Return the noise that lasts until the next note or the end of the file, or stops at once; None without.

    `power` (2, windows) is that of each 10 ms; between the windows `end` and `stop` there is no programme. Whatever
    fades away is no noise: its last second is not steady, or lies at -90 dBFS.
    """
    behind = power[:, end : end + (stop - end) // TENTH * TENTH]
    channels = behind.reshape(2, -1, TENTH).mean(axis=2, dtype=np.float64)
    tenths = channels.max(axis=0, initial=0.0)
    (there,) = np.nonzero(tenths > SILENT)
    last = int(there[-1]) + 1 if len(there) else 0
    if last and tenths[last - 1] * EVEN < tenths[max(0, last - 2)]:  # the noise stops within the last tenth
        last -= 1
    if last < SECOND:
        return None
    second = tenths[last - SECOND : last]
    if not is_steady(second):
        return None
    mean = float(second.mean())
    begin = last - SECOND
    while begin > 0 and mean / EVEN <= tenths[begin - 1] <= EVEN * mean:
        begin -= 1
    level = 10.0 * math.log10(float(channels[:, begin:last].mean(axis=1).max()))
    return SteadyNoise(level, (end + begin * TENTH) / 100.0, (end + last * TENTH) / 100.0)


def without_lines(
    noise: SteadyNoise | None, hum: Iterable[HumStretch], steady: Iterable[SteadyLine], frames: LowBandFrames
) -> SteadyNoise | None:  # fmt: skip
    """Return the noise without the hum and the steady lines in it; None where they are most of it.

    The level of hum is that of the frames of 1.4 s within the noise.
    """
    if noise is None:
        return None
    total = 10.0 ** (noise.level / 10.0)
    power = sum(_hum_within(noise, stretch, frames) for stretch in hum if _holds(stretch, noise))
    power += sum(line.power for line in steady if _holds(line, noise))
    left = total - power
    return replace(noise, level=10.0 * math.log10(left)) if left >= LEFT * total else None


def _holds(found: HumStretch | SteadyLine, noise: SteadyNoise) -> bool:
    return found.start_s < noise.end_s and found.end_s > noise.start_s


def _hum_within(noise: SteadyNoise, hum: HumStretch, frames: LowBandFrames) -> float:
    """Return the mean square of all lines of hum within the noise, or in its stretch where no frame lies within."""
    first = math.ceil(noise.start_s / frames.hop_s)
    end = math.floor((noise.end_s - frames.length_s) / frames.hop_s) + 1
    within = frames.line[first:end]
    if not len(within):
        return hum.power
    lines = [LINES.index(hz) for hz in FAMILIES[hum.family]]
    return float(np.median(within[:, :, lines].sum(axis=2, dtype=np.float64), axis=0).max())
