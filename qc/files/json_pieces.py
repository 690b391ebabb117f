"""Members and items of JSON text found without building any of it, so that a file of others can be read by pieces.

A parser builds the whole of what it reads: fifteen megabytes of "{}," become several gigabytes. Here only brackets,
commas and strings are looked at; whether a piece is sound JSON is for the parser that is given the piece.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

# Possessive, so that nothing is remembered for going back: the text may be one string of many megabytes.
_TOKEN = re.compile(rb'"(?:[^"\\]++|\\.)*+"|[\[\]{},]', re.DOTALL)
_OPEN, _CLOSED = (b"[", b"{"), (b"]", b"}")


class PiecesError(ValueError):
    """Raised for text that is no object or array."""


class TooMuchError(ValueError):
    """Raised for text with more values than are read."""


def members(text: bytes, most: int) -> Iterator[tuple[bytes, bytes]]:
    """Yield the members of an object: the key, with its quotation marks, and the text of the value.

    Raises PiecesError for text that is no object, or that goes on behind it, and TooMuchError for one that holds more
    than `most` brackets, commas and strings.
    """
    for piece in _pieces(text, b"{", most):
        key = _TOKEN.match(piece)
        rest = b"" if key is None else piece[key.end() :].lstrip()
        if key is None or not key[0].startswith(b'"') or not rest.startswith(b":"):
            raise PiecesError("a member needs a key")
        yield key[0], rest[1:].lstrip()


def items(text: bytes, most: int) -> Iterator[bytes]:
    """Yield the text of each item of an array; raises as `members` does."""
    yield from _pieces(text, b"[", most)


def _pieces(text: bytes, opening: bytes, most: int) -> Iterator[bytes]:
    """Yield the texts between the outermost brackets and their commas."""
    depth, begin, last, first = 0, 0, 0, True
    for count, found in enumerate(_TOKEN.finditer(text)):
        token = found[0]
        if count > most:
            raise TooMuchError("more values than can be looked through")
        if depth == 0 and (not first or token != opening or text[: found.start()].strip()):
            break
        first = False
        if token in _OPEN:
            depth += 1
            begin = found.end() if depth == 1 else begin
        elif token in _CLOSED:
            depth -= 1
        if depth == 0 or (depth == 1 and token == b","):
            piece = text[begin : found.start()].strip()
            if piece or token == b",":
                yield piece
            begin = last = found.end()
    if first or depth or text[last:].strip():
        raise PiecesError("it is no whole object or array")
