"""Shares of time: of the cells of 1 ms in a window, how many are beyond so many times what the groove's speed allows.

A window is so many consecutive cells, and may begin at any. Sectors none of whose cells is beyond are passed over. The
worst window is found among those that end with a cell beyond; where the most of each sector is asked for, windows are
counted cell by cell only at sectors that have a cell beyond at either end of them.
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
    before[0] = 0
    for i in range(len(tops)):
        count, least[i] = 0, NEVER
        if ratio[i] > times:
            bound = _bound(tops[i], ratio[i], times, number)
            least[i] = bound
            for k in range(cells.shape[1]):
                count += int(cells[i, k] > bound)
        before[i + 1] = before[i] + count


@as_written
def _bound(top: float, ratio: float, times: float, number: NDArray[np.float32]) -> int:
    """Return the bits above which a cell is beyond `times` where one of `top` has `ratio`; `number` (1,) is room."""
    value = top * times / ratio
    number[0] = value
    even = value < 2.0**-14  # below that the steps of half precision are even
    return int(value * 2.0**24) if even else (int(number.view(np.int32)[0]) >> 13) - (112 << 10)


@as_written
def worst_window(
    cells: Bits, tops: NDArray[np.float32], ratio: Array, times: float, first: Counts, window: int
) -> tuple[int, int]:  # fmt: skip
    """Return the most cells beyond in any `window` consecutive ones, and the first cell of the first such window.

    `tops` and `ratio` are as for `count_beyond`; `first` (sectors + 1) is the number of the first cell of each sector.
    The window is no longer than all cells. The first of the worst windows ends with a cell beyond, unless it begins
    with the first cell of all. So each cell beyond asks once: does a window that ends with it hold one more than the
    most so far? It does if the cell beyond so many before it lies in that window.
    """
    number, beyond = np.empty(1, np.float32), np.empty(window, np.int32)  # the numbers of the last cells beyond
    most, end, back, at = 0, 0, 0, 0  # `back`: which of `beyond` is `most` before the one put in at `at`
    for i in range(len(tops)):
        if ratio[i] > times and most < window:
            bound = _bound(tops[i], ratio[i], times, number)
            for k in range(cells.shape[1]):
                if cells[i, k] > bound and most < window:
                    cell = first[i] + k
                    beyond[at] = cell
                    if beyond[back] > cell - window:
                        most, end = most + 1, cell
                    else:
                        back = back + 1 if back + 1 < window else 0
                    at = at + 1 if at + 1 < window else 0
    return most, max(0, end + 1 - window)


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
