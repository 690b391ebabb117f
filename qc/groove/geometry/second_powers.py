"""Fourth powers of the cells of 1 ms, second by second: how strong tracing and re-cutting are at any level."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from qc.groove.signal.cells import UNITS
from qc.model.cutting_chain import SECTORS_A_SECOND

Array = NDArray[np.float64]

CELLS = ("a_cells", "lateral_v_cells", "vertical_v_cells")
"""Cells that powers are taken of."""
TREBLE = "sibilance_cells"
SILENT = 2.0 * math.pi * 5_000.0 * math.sqrt(2.0) * 10.0 ** (-90.0 / 20.0)
"""m/s2 for 1 m/s at 0 dBFS: a sine of 5 kHz at -90 dBFS. What stays below it from 5 to 12 kHz is no programme."""


@dataclass(frozen=True, eq=False)
class SecondPowers:
    """Mean fourth powers in each second of a side for 1 m/s at 0 dBFS, (3, seconds), in SI: see `CELLS`.

    NaN without programme. Seconds follow each other from the side's beginning, and the last one ends with the side.
    starts: the first sector of each; sectors: of a second, fewer on a shorter side.
    """

    starts: NDArray[np.intp]
    sectors: int
    powers: Array

    @classmethod
    def of(cls, bits: Mapping[str, NDArray[np.int16]], first: NDArray[np.int32]) -> Self:
        """Take powers of cells (sectors, MOST) as the bits of half precision; `first` cell of each, (sectors + 1,)."""
        n = len(first) - 1
        size = min(SECTORS_A_SECOND, n)
        starts = np.arange(0, n - size + 1, size, dtype=np.intp)
        if starts[-1] + size < n:
            starts = np.append(starts, n - size)
        seconds = [slice(start, start + size) for start in starts.tolist()]
        cells = np.maximum(1, first[starts + size] - first[starts])
        powers = np.empty((len(CELLS), len(starts)))
        for row, name in zip(powers, CELLS, strict=True):
            sectors = np.square(np.square(_values(bits[name]))).sum(axis=1, dtype=np.float64)
            row[:] = UNITS[name] ** 4 * np.array([sectors[second].sum() for second in seconds]) / cells
        treble = UNITS[TREBLE] * _values(bits[TREBLE].max(axis=1)).astype(np.float64)
        powers[:, np.array([treble[second].max() < SILENT for second in seconds])] = np.nan
        return cls(starts, size, powers)


def _values(bits: NDArray[np.int16]) -> NDArray[np.float32]:
    """Return cells as numbers; 0 where a sector has none."""
    return np.maximum(bits, 0).view(np.float16).astype(np.float32)
