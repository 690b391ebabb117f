"""A track that is nearly as quiet as the disc, planted in music."""

from __future__ import annotations

import numpy as np

from support.planted_faults import Place, PlantedFault, Samples


def quiet_track(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Scale the second half of the side, its second track, to an rms of `strength` dBFS of what sounds."""
    half = samples.shape[1] // 2
    x = samples.copy()
    track = x[:, half:]
    sounding = np.abs(track).max(axis=0) > 1e-5
    track *= 10.0 ** (strength / 20.0) / np.sqrt(np.mean(track[:, sounding] ** 2))
    first, last = np.flatnonzero(sounding)[[0, -1]]
    return x, ((half + first) / rate, (half + last) / rate)


FAULTS = (
    PlantedFault(
        "a track as quiet as the disc, by its rms", "programme.quiet-against-noise",
        (-32.0, -36.0, -40.0, -43.0, -46.0, -49.0, -52.0, -55.0, -58.0, -61.0), "dBFS", quiet_track,
    ),
)  # fmt: skip
