"""Too few bits, planted in music."""

from __future__ import annotations

import numpy as np

from qc.testing import faults
from support.planted_faults import Place, PlantedFault, Samples


def fewer_bits(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Round all samples to `strength` bits."""
    return faults.requantised(samples, round(strength)), None


def rounded_fade(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Fade the last of the music by 100 dB in `strength` seconds, and round all samples to 16 bits without dither."""
    (there,) = np.nonzero(np.abs(samples).max(axis=0) > 0.01)
    end, frames = int(there[-1]), round(strength * rate)
    x = samples.copy()
    x[:, end - frames : end] *= 10.0 ** (-100.0 * np.linspace(0.0, 1.0, frames) / 20.0)
    x[:, end:] = 0.0
    return faults.requantised(x, 16), (end / rate - strength, end / rate)


FAULTS = (
    PlantedFault(
        "fewer bits than the file has", "file.unused-bits",
        (23.0, 22.0, 21.0, 20.0, 19.0, 18.0, 17.0, 16.0, 15.0, 14.0), "bit", fewer_bits, exact=True,
    ),
    PlantedFault(
        "a fade that is rounded to 16 bits, by its length", "file.truncated-fade",
        (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0), "s", rounded_fade, exact=True, coding="PCM_16",
    ),
)  # fmt: skip
