"""Energies of the K-weighted signal, what loudness is made of."""

from __future__ import annotations

from qc.dsp.filters.kweighting import k_weighting
from qc.dsp.meters.filtered import FilteredSums


class KWeightedSums(FilteredSums):
    """Energy of both channels together, K-weighted, over windows of `window` frames from frame 0 on."""

    def __init__(self, rate: int, window: int, frames: int = 0) -> None:
        super().__init__(k_weighting(rate), window, 1, frames)
