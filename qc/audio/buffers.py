"""Arrays that are used again, so that a pass of any length touches only a few pages of memory.

An array is given out again only when nobody else refers to it any more, not even by a view of it: an analysis may
keep what it heard, and finds it unchanged. Nobody has to hand an array back. A bare address of its memory does not
count as holding it; where references are not counted in one place, without the GIL, nothing is used again.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.room import blank


class Buffers:
    """Arrays of one shape and type, at most `most` of them kept for use again."""

    def __init__(self, shape: tuple[int, ...], kind: type[np.generic], most: int) -> None:
        self._shape, self._kind, self._most = shape, kind, most
        self._kept: list[NDArray[Any]] = []

    def take(self) -> NDArray[Any]:
        """Give an array that nobody else holds; what is in it is left over from before."""
        for k in range(len(self._kept) if _COUNTED else 0):
            if _holders(self._kept, k) == _KEPT_ONLY:
                return self._kept[k]
        if len(self._kept) == self._most:
            del self._kept[0]  # whoever holds it has it for good
        self._kept.append(blank(self._shape, self._kind))
        return self._kept[-1]


def _holders(arrays: list[NDArray[Any]], k: int) -> int:
    """Count who refers to an array, by the same way each time; a view of an array refers to it."""
    return sys.getrefcount(arrays[k])


_COUNTED: bool = getattr(sys, "_is_gil_enabled", lambda: True)()
_KEPT_ONLY = _holders([np.empty(0)], 0)
"""What `_holders` counts for an array that is in a list and nowhere else."""
