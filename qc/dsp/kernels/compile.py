"""The decorators that make a function a kernel: numba's own, with the options that keep the digits.

numba compiles a kernel when it is called with argument types it has not met, and loads it from disk when an earlier
process stored it (`cache`). So importing a module of kernels imports numba.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba
import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.cache import opened

F = TypeVar("F", bound=Callable[..., Any])

index: Any = np.int64
"""Type of an index. A bare constant in a call between kernels has the callee compiled for that constant alone."""


def read_only(x: NDArray[Any]) -> NDArray[Any]:
    """Return a view of x that cannot be written, as blocks of a stream are.

    A kernel is compiled once more for an array that can be written where it met one that cannot. So whatever passes
    both a block and what was carried over from the one before passes both as read-only.
    """
    view = x.view()
    view.flags.writeable = False
    return view


def kernel(function: F) -> F:
    """Compile without the GIL; a product may be contracted into a sum (FMA), nothing else is reordered."""
    return _compiled(function, {"contract"})


def inlined(function: F) -> F:
    """Compile like a kernel, always as part of its caller: for what is called a hundred million times a side."""
    return _compiled(function, {"contract"}, forceinline=True)


def as_written(function: F) -> F:
    """Compile without the GIL, every product and sum rounded by itself and in its place, as numpy does."""
    return _compiled(function, False)


def _compiled(function: F, fastmath: set[str] | bool, *, forceinline: bool = False) -> F:
    # numba chooses the folder for a function's code while it decorates it.
    with opened().chosen(numba.config):
        compiler = numba.njit(
            nogil=True, cache=True, fastmath=fastmath, error_model="numpy", forceinline=forceinline
        )  # fmt: skip
        decorated: Any = compiler(function)
    result: F = decorated
    return result
