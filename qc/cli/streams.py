"""Standard output and standard error of the command: sentences, what was requested, and streams that are closed.

A command that could not write all its output does not end with 0 or 1.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
from collections.abc import Iterator
from typing import TextIO

from qc.model.errors import OutputError
from qc.text.sanitize import shown

LONGEST = 2000
"""Characters of a sentence on stderr, which may quote long input."""


def say(sentence: str) -> None:
    """Write a sentence on stderr, on one line and without control characters."""
    with contextlib.suppress(OSError, ValueError):  # stderr may be closed
        sys.stderr.write(f"sidegate: {shown(sentence, LONGEST)}\n")
        sys.stderr.flush()


_REQUESTED: list[TextIO] = []
"""The stdout of the process, while sys.stdout is another stream."""


def requested() -> TextIO:
    """Return the stream of what was requested on stdout."""
    return _REQUESTED[-1] if _REQUESTED else sys.stdout


@contextlib.contextmanager
def apart() -> Iterator[None]:
    """Send to stderr what any other code writes on stdout, compiled code and child processes too.

    Only `emit` writes on stdout then, so that a report there is not mixed with what plugins print.
    """
    before = stream = sys.stdout
    with contextlib.suppress(OSError, ValueError):
        before.flush()
        if before.fileno() == 1:
            stream = open(os.dup(1), "w", encoding=before.encoding, errors=before.errors)  # noqa: PTH123, SIM115
            os.dup2(2, 1)
    _REQUESTED.append(stream)
    sys.stdout = sys.stderr
    try:
        yield
    finally:
        failed = _REQUESTED[-1] is not stream  # it was replaced, so that what it holds is not written once more
        sys.stdout = _REQUESTED[-1] if failed else before
        _REQUESTED.clear()
        if stream is not before:
            os.dup2(stream.fileno(), 1)
            with contextlib.suppress(OSError, ValueError):
                stream.close()


def emit(content: bytes) -> None:
    """Write on stdout; raises OutputError if not all of it could be written."""
    stream = requested()
    try:
        stream.buffer.write(content)
        stream.buffer.flush()
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
    nowhere = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - until the process ends
    if _REQUESTED:
        _REQUESTED[-1] = nowhere
    else:
        sys.stdout = nowhere
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
