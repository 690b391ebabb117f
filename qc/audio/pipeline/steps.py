"""Which step of a pass comes next: what was read, what each line has heard of it, and who may go on.

Nothing here waits or locks: whoever shares it out among threads asks one at a time.
"""

from __future__ import annotations

from collections.abc import Mapping

READ = -1
"""The step that reads the next block; all others are numbers of lines, which hear their next one."""
AHEAD = 2
"""Blocks that should wait for the line that is foremost, so that none has to wait for the next one to be decoded; and
the most by which taps run ahead of those who listen to them."""


class Steps:
    """The steps of a pass over `blocks` blocks by `lines` lines, of which at most `ring` blocks are held at once.

    `behind` gives of a line that hears what another one makes of a block the number of that one. Every line takes the
    blocks in order and then, as one more, the end.
    """

    def __init__(self, blocks: int, lines: int, behind: Mapping[int, int], ring: int) -> None:
        self.end = blocks
        self.read = 0
        """blocks that were read"""
        self.low = 0
        """blocks that every line has heard"""
        self.next = [0] * lines
        """the block that each line hears next, or is hearing"""
        self._ring = ring
        self._behind = [behind.get(k) for k in range(lines)]
        before = {made: k for k, made in behind.items()}
        self._before = [before.get(k) for k in range(lines)]
        self._busy = [False] * lines
        self._reading = False

    @property
    def left(self) -> bool:
        """Whether anything is still to be done, or being done."""
        return self.low <= self.end if self.next else self.read < self.end

    @property
    def ready(self) -> bool:
        """Whether there is a step that may be taken now."""
        return self._first() is not None

    def take(self) -> int | None:
        """Take the step that should come first of those that are ready; None when none is."""
        step = self._first()
        if step == READ:
            self._reading = True
        elif step is not None:
            self._busy[step] = True
        return step

    def was_read(self) -> None:
        """Note that a block was read."""
        self.read += 1
        self._reading = False

    def was_heard(self, line: int) -> range:
        """Note that a line has heard its block; gives the blocks that now every line has."""
        before = self.low
        self.next[line] += 1
        self._busy[line] = False
        self.low = min(self.next)
        return range(before, self.low)

    def _first(self) -> int | None:
        """Find the step that should come first.

        Reading does while the foremost line has little before it, for decoding may take as long as all else; then the
        line that is furthest behind.
        """
        first, least, most = None, self.end + 1, 0
        for k, block in enumerate(self.next):
            most = max(most, block)
            if block < least and not self._busy[k] and self._may_hear(k, block):
                first, least = k, block
        if self._reading or self.read >= min(self.end, (self.low if self.next else self.read) + self._ring):
            return first
        return READ if first is None or self.read < most + AHEAD else first

    def _may_hear(self, line: int, block: int) -> bool:
        """Whether a block is there for a line."""
        if block >= self.read and block != self.end:
            return False
        made, listener = self._behind[line], self._before[line]
        if made is not None:
            return self.next[made] > block
        return listener is None or block < self.next[listener] + AHEAD
