"""Reuse arrays, so that a pass of any length needs only a few pages of memory.

An array is reused only when no other reference to it or to a view of it exists, so an analysis may keep its input
unchanged and need not return it. A bare address of its memory is not a reference. Without the GIL, where reference
counts are not exact, no array is reused.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.aligned import blank


class Buffers:
    """Arrays of one shape and type, at most `most` of them kept for use again."""

    def __init__(self, shape: tuple[int, ...], kind: type[np.generic], most: int) -> None:
        self._shape, self._kind, self._most = shape, kind, most
        self._kept: list[NDArray[Any]] = []

    def take(self) -> NDArray[Any]:
        """Return an array without other references; its contents are undefined."""
        for k in range(len(self._kept) if _COUNTED else 0):
            if _holders(self._kept, k) == _KEPT_ONLY:
                return self._kept[k]
        if len(self._kept) == self._most:
            del self._kept[0]  # its other references keep it for good
        self._kept.append(blank(self._shape, self._kind))
        return self._kept[-1]


def _holders(arrays: list[NDArray[Any]], k: int) -> int:
    """Return the reference count of an array, taken the same way each time; a view counts as a reference."""
    return sys.getrefcount(arrays[k])


_COUNTED: bool = getattr(sys, "_is_gil_enabled", lambda: True)()
_KEPT_ONLY = _holders([np.empty(0)], 0)
"""The count of `_holders` for an array with no reference outside the list."""
