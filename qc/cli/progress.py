"""The progress of the pass, on stderr: a line that counts up on a terminal, one plain line a side elsewhere."""

from __future__ import annotations

import contextlib
from types import TracebackType
from typing import Self, TextIO


class Progress:
    """A line on stderr that the pass updates, from any thread, and that is cleared at the end."""

    def __init__(self, out: TextIO) -> None:
        self._out, self._live = out, out.isatty()
        self._shown: tuple[str, int] = ("", -1)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live and self._shown[1] >= 0:
            self._say("\r\x1b[K")

    def update(self, side: str, part: float) -> None:
        """Show that `part` (0..1) of a side has been read."""
        now = (side, int(100.0 * part))
        if now == self._shown:
            return
        before, self._shown = self._shown[0], now  # set first, so that an interrupted line is not repeated
        if self._live:
            self._say(f"\rreading side {side}: {now[1]} %\x1b[K")
        elif side != before:
            self._say(f"sidegate: reading side {side}\n")

    def _say(self, text: str) -> None:
        """Write at once; a closed stream is ignored."""
        with contextlib.suppress(OSError, ValueError):
            self._out.write(text)
            self._out.flush()
