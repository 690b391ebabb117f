"""SIGINT and SIGTERM: at the start the process ends at once, later the work is undone and then it ends.

Both raise KeyboardInterrupt in the main thread, so that everything that cleans up after Ctrl-C does so after SIGTERM.
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
"""After how long a signal is sent again that was lost in a callback."""
_received: list[int] = []
"""The signal that ends the process, once one has come."""


class StoppedError(KeyboardInterrupt):
    """Raised in the main thread by a signal; `exit_code` is 128 and the signal's number, as shells have it."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.exit_code = 128 + number


def at_once() -> None:
    """End the process at a signal without unwinding anything, as long as there is nothing to clean up.

    An exception out of a half-imported module would be a traceback, or lost. Signals that are ignored stay ignored, as
    for a command in the background of a shell.
    """
    _answer(_leave)


def by_unwinding() -> None:
    """Raise StoppedError at a signal, so that what was begun is cleaned up."""
    sys.unraisablehook = _lost
    _answer(_unwind)


def received() -> int | None:
    """Give the number of the signal that ends the process; None when none has come."""
    return _received[0] if _received else None


def not_at_all() -> None:
    """Ignore signals: the result is out and the process ends by itself."""
    _answer(signal.SIG_IGN)


def _answer(how: object) -> None:
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, how)  # type: ignore[arg-type]


def _leave(number: int, _: FrameType | None) -> NoReturn:
    with contextlib.suppress(OSError):
        os.write(2, f"sidegate: {SENTENCE}\n".encode())
    os._exit(128 + number)


def _unwind(number: int, _: FrameType | None) -> NoReturn:
    # Whoever presses Ctrl-C again leaves at once; a second SIGTERM must not break off the cleaning up.
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, _leave)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    _received.append(number)
    raise StoppedError(number)


def _lost(what: sys.UnraisableHookArgs) -> None:
    """Send the signal again where StoppedError was raised inside a callback, out of which nothing can be raised."""
    if not isinstance(what.exc_value, StoppedError):
        sys.__unraisablehook__(what)
        return
    number = what.exc_value.exit_code - 128
    signal.signal(number, _unwind)
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, _unwind)
    import threading  # not before signals are answered

    again = threading.Timer(AGAIN_S, os.kill, (os.getpid(), number))
    again.daemon = True
    again.start()
