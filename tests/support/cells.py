"""Cells of 1 ms for envelopes that are made up by sector."""

import numpy as np

from qc.groove.signal.cells import UNITS, still
from qc.groove.signal.sector_envelopes import GrooveInput

OF = {"lateral_v_cells": "lateral_v", "vertical_v_cells": "vertical_v", "a_cells": "a_abs",
      "sibilance_cells": "sibilance_a"}  # fmt: skip


def cells_of(arrays):
    """Cells by name, of sector envelopes by name: each cell of a sector is as great as the sector."""
    found = {}
    for name, of in OF.items():
        greater = np.atleast_2d(arrays[of]).max(axis=0)
        there = still(len(greater))
        found[name] = np.asfortranarray(np.where(there < 0.0, there, (greater / UNITS[name]).astype(np.float16)))
    return found


def with_cells(signal, **arrays):
    """Envelopes made up by sector, with their cells."""
    return GrooveInput(signal, **arrays, **cells_of(arrays))
