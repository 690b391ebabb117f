"""SIGINT and SIGTERM: at the start the process ends at once, later the work is undone and then it ends.

Both raise KeyboardInterrupt in the main thread, so that SIGTERM is cleaned up after in the same way as Ctrl-C.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from types import FrameType
from typing import NoReturn

SENTENCE = "stopped; nothing more was written"
AGAIN_S = 0.005
"""Delay in seconds before a signal that was lost in a callback is sent again."""
_received: list[int] = []
"""Number of the signal that ends the process; empty before one was received."""


class StoppedError(KeyboardInterrupt):
    """Raised in the main thread by a signal; `exit_code` is 128 plus the signal's number, as in shells."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.exit_code = 128 + number


def at_once() -> None:
    """End the process at a signal without unwinding anything, as long as there is nothing to clean up.

    An exception out of a half-imported module would be a traceback, or lost. Signals that are ignored stay ignored, as
    for a command in the background of a shell.
    """
    _handle(_leave)


def by_unwinding() -> None:
    """Raise StoppedError at a signal, so that unfinished work is cleaned up."""
    sys.unraisablehook = _lost
    _handle(_unwind)


def received() -> int | None:
    """Return the number of the signal that ends the process; None if none was received."""
    return _received[0] if _received else None


def not_at_all() -> None:
    """Ignore signals: the result is written and the process is about to end."""
    _handle(signal.SIG_IGN)


def _handle(handler: object) -> None:
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, handler)  # type: ignore[arg-type]


def _leave(number: int, _: FrameType | None) -> NoReturn:
    with contextlib.suppress(OSError):
        os.write(2, f"sidegate: {SENTENCE}\n".encode())
    os._exit(128 + number)


def _unwind(number: int, _: FrameType | None) -> NoReturn:
    # A second Ctrl-C ends the process at once; a second SIGTERM must not interrupt the cleanup.
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, _leave)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    _received.append(number)
    raise StoppedError(number)


def _lost(what: sys.UnraisableHookArgs) -> None:
    """Send the signal again if StoppedError was lost in a callback, from which no exception propagates."""
    if not isinstance(what.exc_value, StoppedError):
        sys.__unraisablehook__(what)
        return
    number = what.exc_value.exit_code - 128
    signal.signal(number, _unwind)
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, _unwind)
    import threading  # slow to import, and only after signals are handled

    again = threading.Timer(AGAIN_S, os.kill, (os.getpid(), number))
    again.daemon = True
    again.start()
