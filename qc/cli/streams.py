"""Standard output and standard error of the command: sentences, what was requested, and streams that are closed.

A command that could not write all its output does not end with 0 or 1.
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
"""Characters of a sentence on stderr, which may quote long input."""


def say(sentence: str) -> None:
    """Write a sentence on stderr, on one line and without control characters."""
    with contextlib.suppress(OSError, ValueError):  # stderr may be closed
        sys.stderr.write(f"sidegate: {shown(sentence, LONGEST)}\n")
        sys.stderr.flush()


def emit(content: bytes) -> None:
    """Write on stdout; raises OutputError if not all of it could be written."""
    try:
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
    except OSError as error:
        raise _unwritten(error) from None


def flush() -> None:
    """Flush stdout, for the help and the like; raises OutputError if that fails."""
    try:
        sys.stdout.flush()
    except OSError as error:
        raise _unwritten(error) from None
    except ValueError:  # it was closed
        pass


def _unwritten(error: OSError) -> OutputError:
    """Build the error of a stdout that cannot be written, and replace stdout, so that its buffer is dropped."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - until the process ends
    if isinstance(error, BrokenPipeError) or error.errno == errno.EBADF:
        return OutputError("stdout was closed before everything was written; read it to its end, or name a file")
    return OutputError(f"stdout cannot be written: {error.strerror}; send it elsewhere")


class _Closed(io.RawIOBase):
    """A stdout that was closed before the command began: each write to it fails."""

    def writable(self) -> bool:
        """Return True, which a buffered writer requires; `write` fails."""
        return True

    def write(self, _: object) -> int:
        """Fail as a closed file descriptor does."""
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))


def open_missing() -> None:
    """Open the null device for each standard stream that is closed.

    The next opened file would else take its number, and the output of compiled code would go into that file.
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
