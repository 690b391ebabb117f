"""Arrays that their readers cannot open for writing: views of shared memory, and copies."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

N = TypeVar("N", bound=np.generic)


def closed(array: NDArray[N]) -> NDArray[N]:
    """Return a read-only view of the same memory that cannot be made writeable, and that does not lead to its owner.

    The owner is kept by an opaque capsule, which counts as a reference to it. An array of a type that has no such view
    (text, dates, objects) is copied.
    """
    view: NDArray[Any] = array.view()
    view.flags.writeable = False
    try:
        shared: NDArray[Any] = np.from_dlpack(view)
    except BufferError:
        copied = array.copy()
        copied.flags.writeable = False
        return copied
    return shared


def read_only_copy(array: NDArray[N]) -> NDArray[N]:
    """Return a copy that cannot be made writeable: its memory belongs to bytes."""
    return np.frombuffer(array.tobytes(), dtype=array.dtype).reshape(array.shape)
