"""A late channel, planted in music."""

from __future__ import annotations

from qc.testing import faults
from support.planted_faults import Place, PlantedFault, Samples


def late_right(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Delay the right channel by `strength` us."""
    return faults.late(samples, rate, seconds=1e-6 * strength), None


FAULTS = (
    PlantedFault(
        "a right channel that is late", "programme.channels-out-of-time",
        (4.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0, 25.0, 40.0, 60.0), "us", late_right,
    ),
)  # fmt: skip
