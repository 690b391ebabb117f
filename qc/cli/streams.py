"""Standard output and standard error of the command: sentences, what was requested, and streams that are closed.

What was requested and could not be delivered is no success: whoever ends with 0 or 1 was heard to the end.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys

from qc.model.errors import OutputError
from qc.text.sanitize import shown

LONGEST = 2000
"""Characters of a sentence on stderr: what was read may be longer than anyone wants to see again."""


def say(sentence: str) -> None:
    """Write a sentence on stderr, on one line and without anything that would steer a terminal."""
    with contextlib.suppress(OSError, ValueError):  # stderr may be closed
        sys.stderr.write(f"sidegate: {shown(sentence, LONGEST)}\n")
        sys.stderr.flush()


def emit(asked_for: bytes) -> None:
    """Write on stdout; raises OutputError where not all of it could be written."""
    try:
        sys.stdout.buffer.write(asked_for)
        sys.stdout.buffer.flush()
    except OSError as error:
        raise _unwritten(error) from None


def flush() -> None:
    """Write what is left of stdout, such as the help; raises OutputError where that is not possible."""
    try:
        sys.stdout.flush()
    except OSError as error:
        raise _unwritten(error) from None
    except ValueError:  # it was closed
        pass


def _unwritten(error: OSError) -> OutputError:
    """Make the error of a stdout that cannot be written, once what is left in its buffer goes nowhere."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - until the process ends
    if isinstance(error, BrokenPipeError) or error.errno == errno.EBADF:
        return OutputError("stdout was closed before everything was written; read it to its end, or name a file")
    return OutputError(f"stdout cannot be written: {error.strerror}; send it elsewhere")


class _Closed(io.RawIOBase):
    """A stdout that was closed before the command began: whatever is written to it fails."""

    def writable(self) -> bool:
        """Say that it can be written, for a buffer asks; that it cannot be shows when something is written."""
        return True

    def write(self, _: object) -> int:
        """Fail as a closed file descriptor does."""
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))


def open_missing() -> None:
    """Give every standard stream that is closed something to stand for it.

    The next file that is opened would else take its number, and whatever compiled code writes would go into that file.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    if sys.stdout is None:
        sys.stdout = io.TextIOWrapper(io.BufferedWriter(_Closed()), encoding="utf-8")
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - until the process ends
