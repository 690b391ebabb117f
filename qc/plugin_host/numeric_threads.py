"""The threads of numeric libraries: one for each call while a run, which has threads of its own, goes on."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from threadpoolctl import threadpool_limits


class NumericThreads:
    """The limit of the libraries that are loaded (BLAS, OpenMP), shared by all runs of the process.

    Plugins may call them from every thread of a run, and each call would start as many threads as there are cores. The
    limit is that of the process, so it is set by the first run that begins and lifted by the last one that ends.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._runs = 0
        self._limits: threadpool_limits | None = None

    @contextmanager
    def limited(self) -> Iterator[None]:
        """Limit the libraries to one thread a call; the numbers of threads are as before afterwards, in any case."""
        with self._lock:
            if self._runs == 0:
                self._limits = threadpool_limits(limits=1)
            self._runs += 1
        try:
            yield
        finally:
            with self._lock:
                self._runs -= 1
                if self._runs == 0 and self._limits is not None:
                    self._limits.restore_original_limits()
                    self._limits = None


one_thread_each = NumericThreads().limited
"""The limit of this process, as a context."""
