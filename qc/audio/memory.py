"""Return freed memory to the system, which would otherwise stay with the process."""

from __future__ import annotations

import contextlib
import ctypes
import sys
from collections.abc import Callable
from functools import cache

ARENA_MAX = -8
"""glibc's number of the setting below."""
ARENAS = 2


def give_back() -> None:
    """Return unused memory to the system, where the C library supports that; takes 1 ms."""
    _of_glibc("malloc_trim")(0)


def few_arenas() -> None:
    """Have all threads of this process share two of the C library's heaps, of which more goes back to the system.

    glibc gives each thread one of its own, and what a thread leaves there is seldom whole pages.
    """
    _of_glibc("mallopt")(ARENA_MAX, ARENAS)


@cache
def _of_glibc(name: str) -> Callable[..., object]:
    """Find a function of glibc's; anywhere else nothing is done."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):
            found: Callable[..., object] = getattr(ctypes.CDLL(None), name)
            return found
    return lambda *_: None
