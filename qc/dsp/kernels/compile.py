"""The decorators that make a function a kernel: numba's own, with the options that keep the digits.

numba compiles a kernel when it is called with argument types it has not met, and loads it from disk when an earlier
process stored it (`cache`). So importing a module of kernels imports numba.

Python calls only a quarter of all kernels in a run, and the others are compiled into these. So each is decorated at its
first use, which takes a fifth of a millisecond.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import update_wrapper
from typing import Any, TypeVar

import numba
import numpy as np
from numba.extending import typeof_impl
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


class Kernel:
    """A function that numba decorates at its first use, by Python or by another kernel; its attributes are numba's."""

    def __init__(self, function: Callable[..., Any], fastmath: set[str] | bool, *, forceinline: bool = False) -> None:
        update_wrapper(self, function)
        self._function, self._fastmath, self._forceinline = function, fastmath, forceinline
        self._decorated: Any = None

    def __call__(self, *args: Any) -> Any:
        """Call the compiled function."""
        return (self._decorated or self.decorated())(*args)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):  # what Python looks for by itself needs no compiler
            raise AttributeError(name)
        return getattr(self.decorated(), name)

    def decorated(self) -> Any:
        """Return the function as numba decorated it."""
        with _DECORATING:
            if self._decorated is None:
                with opened().chosen(numba.config):  # numba chooses the folder for a function's code while it decorates
                    decorator = numba.njit(
                        nogil=True,
                        cache=True,
                        fastmath=self._fastmath,
                        error_model="numpy",
                        forceinline=self._forceinline,
                    )
                    self._decorated = decorator(self._function)
            return self._decorated


_DECORATING = threading.RLock()
"""Taken while numba decorates, because the folder that it is to choose is a setting of the process."""


@typeof_impl.register(Kernel)
def _type_of(found: Kernel, context: Any) -> Any:
    """Type a kernel that another one calls."""
    return typeof_impl(found.decorated(), context)


def kernel(function: F) -> F:
    """Compile without the GIL; a product may be contracted into a sum (FMA), nothing else is reordered."""
    return _kernel(function, {"contract"})


def inlined(function: F) -> F:
    """Compile like a kernel, always as part of its caller: for what is called a hundred million times a side."""
    return _kernel(function, {"contract"}, forceinline=True)


def as_written(function: F) -> F:
    """Compile without the GIL, every product and sum rounded by itself and in its place, as numpy does."""
    return _kernel(function, False)


def _kernel(function: F, fastmath: set[str] | bool, *, forceinline: bool = False) -> F:
    made: Any = Kernel(function, fastmath, forceinline=forceinline)
    result: F = made
    return result
