"""The output of plugins: on stderr, also in a program that calls the tool, whose own stdout is not touched."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class PluginOutput:
    """Sends to stderr what some threads write on `sys.stdout`, which is one for all threads of a process.

    It is in the place of `sys.stdout` while such a thread runs.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._threads: dict[int, int] = {}
        """identifier of a thread -> how often it has entered"""
        self._before: Any = None

    @contextmanager
    def on_stderr(self) -> Iterator[None]:
        """Send what this thread prints to stderr."""
        ident = threading.get_ident()
        with self._lock:
            if not self._threads and sys.stdout is not self:
                self._before, sys.stdout = sys.stdout, self
            self._threads[ident] = self._threads.get(ident, 0) + 1
        try:
            yield
        finally:
            with self._lock:
                self._threads[ident] -= 1
                if not self._threads[ident]:
                    del self._threads[ident]
                if not self._threads and sys.stdout is self:
                    sys.stdout = self._before

    def __getattr__(self, name: str) -> Any:
        """Return an attribute of the stream of the thread that asks: `write`, `flush`, `buffer` ..."""
        return getattr(sys.stderr if threading.get_ident() in self._threads else self._before, name)


output_on_stderr = PluginOutput().on_stderr
"""The output of plugins of this process, as a context."""
