"""Faults between the documents and the sound, planted in a side whose track list stays as it is.

Exchanged sides, exchanged tracks and another speed need longer sides than these: `published/make_lists.py` tries them.
"""

from __future__ import annotations

from support.planted_faults import Place, PlantedFault, Samples

GAP = (15.5, 18.0)
"""Start and end of the gap of a side in s."""


def short_gap(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Begin the second track too early, by its own first seconds, so that the gap lasts `strength` s."""
    begin, end = round((GAP[0] + strength) * rate), round(GAP[1] * rate)
    changed = samples.copy()
    changed[:, begin:end] = samples[:, end : 2 * end - begin]
    return changed, (GAP[0], GAP[0] + strength)


FAULTS = [
    PlantedFault(
        "a short gap", "layout.gap-too-short", (2.0, 1.6, 1.3, 1.1, 1.0, 0.9, 0.8, 0.7, 0.6, 0.5), "s", short_gap
    )
]
