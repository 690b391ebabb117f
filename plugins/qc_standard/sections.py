"""A cascade of second-order sections as a running tap: nothing held back, any block size."""

from __future__ import annotations

import numpy as np

from qc.contract import Samples
from qc.dsp import biquad

AT_REST = 1e-170
"""State below which a section is at rest: its square is nought in float64."""


class RunningSections:
    """Runs sections over two channels, carrying their state from block to block."""

    def __init__(self, sections: biquad.Sections) -> None:
        self._sections = biquad.paired(sections)
        self._state = biquad.fresh(self._sections, 2)

    def push(self, x: Samples) -> Samples:
        """Take (2, n), give as many."""
        y = biquad.run(x, self._sections, self._state, np.empty(x.shape))
        # ringing on in digital silence ends in numbers too small for the processor's fast path; their
        # squares are nought, so that no energy depends on where a block ends
        self._state[np.abs(self._state) < AT_REST] = 0.0
        return y

    def flush(self) -> Samples:
        """Give nothing: nothing is held back."""
        return np.zeros((2, 0))
