"""Shares of time: of the cells of 1 ms in a window, how many are beyond so many times what the groove's speed allows.

A window is so many consecutive cells, and may begin at any. It is looked for by sectors first: sectors none of whose
cells is beyond are passed over, and windows are counted cell by cell only where the sums of whole sectors leave open
whether one of them has more than the best so far.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import as_written
from qc.groove.geometry.ratios import allowed

Array = NDArray[np.float64]
Bits = NDArray[np.int16]
"""(sectors, MOST): cells by the bits of their half precision, which rise as the numbers do; below 0 where none is"""
Counts = NDArray[np.int32]
NEVER = 0x7FFF
"""Bits above which no cell is."""


@as_written
def ratios(
    tops: NDArray[np.float32], factor: float, radius: Array, least: float, turning: float, edges: float, out: Array
) -> None:  # fmt: skip
    """Fill `out` with the greatest cell of each sector times a factor over what the speed allows; see `ratios.over`."""
    for i in range(len(tops)):
        out[i] = factor * tops[i] / allowed(radius[i], least, turning, edges)


@as_written
def count_beyond(
    cells: Bits, tops: NDArray[np.float32], ratio: Array, times: float, least: NDArray[np.int16], before: Counts
) -> None:  # fmt: skip
    """Fill `before` (sectors + 1) with the cells ahead of each sector whose ratio is above `times`.

    `tops` is the greatest cell of each sector, `ratio` its ratio. `least` (sectors,) becomes the bits above which a
    cell is beyond.
    """
    number = np.empty(1, np.float32)
    bits = number.view(np.int32)
    before[0] = 0
    for i in range(len(tops)):
        count, least[i] = 0, NEVER
        if ratio[i] > times:
            value = tops[i] * times / ratio[i]
            number[0] = value
            even = value < 2.0**-14  # below that the steps of half precision are even
            bound = int(value * 2.0**24) if even else (int(bits[0]) >> 13) - (112 << 10)
            least[i] = bound
            for k in range(cells.shape[1]):
                count += int(cells[i, k] > bound)
        before[i + 1] = before[i] + count


@as_written
def worst_window(
    cells: Bits, least: NDArray[np.int16], first: Counts, before: Counts, window: int
) -> tuple[int, int]:  # fmt: skip
    """Return the most cells beyond in any `window` consecutive ones, and the sector in which the first such begins.

    `first` (sectors + 1) is the number of the first cell of each sector. The window is no longer than all cells.
    """
    n, last = len(least), first[-1] - window
    best, at, end = 0, 0, 0
    for start in range(n):  # as many as whole sectors have in a window from the start of this one on
        if first[start] > last:
            break
        end = _whole(first, end, first[start] + window)
        best = max(best, before[end] - before[start])
    best, end = best - 1, 0
    for start in range(n):
        if first[start] > last or best == window:
            break
        end = _whole(first, end, first[start] + window)
        if before[min(n, end + 2)] - before[start] > best:
            most = _most(cells, least, first, before, window, start, end)
            if most > best:
                best, at = most, start
    return best, at


@as_written
def most_by_start(
    cells: Bits, least: NDArray[np.int16], first: Counts, before: Counts, window: int, out: Array
) -> None:  # fmt: skip
    """Fill `out` with the most cells beyond in any window that begins in a sector, for as many sectors as it has."""
    n, end = len(least), 0
    for start in range(len(out)):
        end = _whole(first, end, first[start] + window)
        if before[min(n, end + 2)] == before[end] and before[start + 1] == before[start]:
            out[start] = before[end] - before[start]
        else:
            out[start] = _most(cells, least, first, before, window, start, end)


@as_written
def _whole(first: Counts, end: int, stop: int) -> int:
    """Return the first sector, from `end` on, that does not end by a cell."""
    while end + 1 < len(first) and first[end + 1] <= stop:
        end += 1
    return end


@as_written
def _most(
    cells: Bits, least: NDArray[np.int16], first: Counts, before: Counts, window: int, start: int, end: int
) -> int:  # fmt: skip
    """Return the most cells beyond in any window that begins in a sector; `end` is the one its first such ends in."""
    most = 0
    for cell in range(first[start], min(first[start + 1], first[-1] - window + 1)):
        end = _whole(first, end, cell + window)
        found = before[end] - before[start] - _beyond(cells, least, start, cell - first[start])
        if end < len(least):
            found += _beyond(cells, least, end, cell + window - first[end])
        most = max(most, found)
    return most


@as_written
def _beyond(cells: Bits, least: NDArray[np.int16], sector: int, count: int) -> int:
    """Count those beyond among the first cells of a sector."""
    found = 0
    if least[sector] < NEVER:
        for k in range(count):
            found += int(cells[sector, k] > least[sector])
    return found
