"""How far the hearing is, on stderr: a line that counts up on a terminal, one plain line a side elsewhere."""

from __future__ import annotations

from types import TracebackType
from typing import Self, TextIO


class Progress:
    """Told by the pass, from any thread; leaves a clean line behind."""

    def __init__(self, out: TextIO) -> None:
        self._out, self._live = out, out.isatty()
        self._shown: tuple[str, int] = ("", -1)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live and self._shown[1] >= 0:
            self._out.write("\r\x1b[K")
            self._out.flush()

    def told(self, side: str, part: float) -> None:
        """Show that `part` (0..1) of a side is heard."""
        now = (side, int(100.0 * part))
        if now == self._shown:
            return
        before, self._shown = self._shown[0], now  # first, so that an interrupted line is not said again
        if self._live:
            self._out.write(f"\rhearing side {side}: {now[1]} %\x1b[K")
            self._out.flush()
        elif side != before:
            self._out.write(f"sidegate: hearing side {side}\n")
            self._out.flush()
