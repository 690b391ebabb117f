"""Arrays for kernels to work in, aligned to the processor's cache lines and, where they are large, in large pages.

A vector that lies across two cache lines costs twice. And every page that a stream comes to is looked up first: of a
large one that is 2 MiB, of a usual one 4 KiB, which on a virtual machine makes a fifteenth of the whole pass.
"""

from __future__ import annotations

import contextlib
import math
import mmap
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

LINE = 64
"""Bytes of a cache line, and of the widest vectors."""
PAGE = 1 << 21
"""Bytes of a large page."""
LARGE = 3 << 18
"""Bytes from which on an array is placed in large pages: the least that the pass streams through."""


def blank(shape: tuple[int, ...], dtype: DTypeLike) -> NDArray[Any]:
    """Return an array with any content, C order; a large one in large pages, where the system has them."""
    kind = np.dtype(dtype)
    octets = math.prod(shape) * kind.itemsize
    if octets >= LARGE and hasattr(mmap, "MADV_HUGEPAGE"):
        with contextlib.suppress(OSError):
            memory = mmap.mmap(-1, -(-octets // PAGE) * PAGE + PAGE)
            memory.madvise(mmap.MADV_HUGEPAGE)
            begin = -_address(np.frombuffer(memory, np.uint8)) % PAGE
            return np.ndarray(shape, kind, memory, begin)
    return np.empty(shape, kind)


def room(rows: int, columns: int, dtype: DTypeLike = np.float64) -> NDArray[Any]:
    """Return zeros, (rows, columns or a few more), C order, of which every row begins a cache line."""
    size = np.dtype(dtype).itemsize
    columns = -(-columns * size // LINE) * LINE // size
    octets = blank((rows * columns * size + LINE,), np.uint8)
    begin = -_address(octets) % LINE
    made: NDArray[Any] = octets[begin : begin + rows * columns * size].view(dtype).reshape(rows, columns)
    made[:] = 0
    return made


def _address(array: NDArray[Any]) -> int:
    """Return the address of an array; `array.ctypes` would tie it into a ring, and keep its memory."""
    place: int = array.__array_interface__["data"][0]
    return place
