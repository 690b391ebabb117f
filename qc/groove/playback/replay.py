"""From displacement of a wall back to the master's scale: the inverse of the recording characteristic (EQ-3)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import biquad
from qc.dsp.filters.biquad import Sections, response
from qc.dsp.filters.recording import T1, T2, T3


def replay_curve(rate: float) -> Sections:
    """Two sections that undo `recording.displacement` exactly, but for its subsonic filter and the cutter's pole.

    A pickup gives velocity, the replay curve of EQ-3 follows; gain is that of a derivative at 1 kHz.
    """

    def at(tau: float) -> float:
        return math.exp(-1.0 / (tau * rate))

    sections = np.array([[1.0, -1.0, 0.0, -at(T1), 0.0], [1.0, -at(T2), 0.0, -at(T3), 0.0]])
    wanted = 2.0 * math.pi * 1000.0
    sections[0, :3] *= wanted / float(np.abs(response(sections, np.array([1000.0]), rate))[0])
    return sections


def replayed(displacement: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """Return what a pickup and the replay curve make of displacement (2, frames), as if it had been at rest before."""
    sections = replay_curve(rate)
    moved = np.ascontiguousarray(displacement - displacement[:, :1])
    return biquad.run(moved, sections, biquad.fresh(sections, 2), np.empty_like(moved))
