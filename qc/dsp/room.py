"""Arrays for kernels to work in, laid to the processor's cache lines: a vector that lies across two costs twice."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

LINE = 64
"""Bytes of a cache line, and of the widest vectors."""


def room(rows: int, columns: int, dtype: DTypeLike = np.float64) -> NDArray[Any]:
    """Give zeros, (rows, columns or a few more), C order, of which every row begins a cache line."""
    size = np.dtype(dtype).itemsize
    columns = -(-columns * size // LINE) * LINE // size
    octets = np.zeros(rows * columns * size + LINE, np.uint8)
    begin = -octets.ctypes.data % LINE
    made: NDArray[Any] = octets[begin : begin + rows * columns * size].view(dtype).reshape(rows, columns)
    return made
