"""Print-through of a tape: a loud entry that is heard softly one turn of the reel before, in the quiet ahead of it.

Neighbouring turns of a tape magnetise each other, most of all near 1 kHz. A turn lasts 0.5 to 2.5 s (38 cm/s on a
radius of 5 to 13 cm lasts 0.8 to 2.1 s). The energy from 0.7 to 2 kHz of the quiet is a constant and a part of what
follows one turn later: the lag at which the two correlate best is the turn, and the part is the level of the echo.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Quantity
from qc_standard.spectrum.low_band import LowBandFrames, LowBandLines

Array = NDArray[np.float64]

SHORTEST_S, LONGEST_S = 0.5, 2.5
"""Seconds of a turn."""
BEFORE_S = 0.3
"""Seconds of quiet ahead of the echo, at the least: they have what is no echo."""
LOUD_S = 1.0
"""Seconds of the entry whose mean level is compared with that of the quiet."""
RISE = 1e3
"""Power of the entry over that of the quiet before it: 30 dB (practice). Print-through lies 40 dB and more below."""
SOUNDS = 0.01
"""Power of a cell over that of the entry, from which on it is no quiet: -20 dB."""
LEAST = 1e-11
"""Mean square of the quiet, at the least: -110 dBFS from 0.7 to 2 kHz. What lies below is digital silence."""
CORRELATES = 0.8
"""Correlation of the quiet with what follows one turn later, at the least (practice)."""
HIGHEST_DB = -36.0
"""dB of an echo against the entry, at the most: what is louder is an upbeat (practice)."""
GUARD = 3
"""Cells of 11 ms before an entry that are left out: a sound does not begin within one."""
MOST = 64
"""Entries that are looked at, those that rise most."""


@dataclass(frozen=True, slots=True)
class PreEcho:
    """The echo ahead of one entry: its level below the entry in dB, the turn in s, and how well it correlates."""

    entry_s: float
    level_db: float
    turn_s: float
    correlation: float


def entries(middle: Array, cell_s: float) -> Iterator[tuple[int, int]]:
    """Yield the cell at which the quiet begins and that of the loud entry that ends it; the greatest rise first."""
    loud, quiet = round(LOUD_S / cell_s), round((SHORTEST_S + BEFORE_S) / cell_s)
    if len(middle) < loud + quiet:
        return
    total = np.concatenate([[0.0], np.cumsum(middle)])
    at = np.arange(quiet, len(middle) - loud + 1)
    after = (total[at + loud] - total[at]) / loud
    before = (total[at - GUARD] - total[at - quiet]) / (quiet - GUARD)
    rise = np.where(before > LEAST, after / np.maximum(before, LEAST), 0.0)
    for _ in range(MOST):
        best = int(rise.argmax())
        if rise[best] < RISE:
            return
        entry = quiet + best
        entry += int(np.argmax(middle[entry : entry + loud] > SOUNDS * after[best]))
        behind = middle[max(0, entry - round((LONGEST_S + BEFORE_S) / cell_s)) : entry - GUARD]
        (louder,) = np.nonzero(behind > SOUNDS * after[best])
        first = entry - GUARD - len(behind) + (int(louder[-1]) + 1 if len(louder) else 0)
        yield first, entry
        rise[max(0, best - quiet - loud) : best + quiet + loud] = 0.0


def pre_echo(middle: Array, first: int, entry: int, cell_s: float) -> PreEcho | None:
    """Return the echo in the quiet from `first` ahead of an entry, None where nothing there correlates with it."""
    best: PreEcho | None = None
    before = round(BEFORE_S / cell_s)
    for lag in range(math.ceil(SHORTEST_S / cell_s), min(math.floor(LONGEST_S / cell_s), entry - first - before) + 1):
        begin = entry - lag - before
        quiet, later = middle[begin : entry - GUARD], middle[begin + lag : entry - GUARD + lag]
        if len(later) < len(quiet):
            break
        spread, own = float(later.std()), float(quiet.std())
        if min(spread, own) <= 0.0:
            continue
        common = float(((later - later.mean()) * (quiet - quiet.mean())).mean())
        correlation = common / (spread * own)
        if correlation < CORRELATES or (best is not None and correlation <= best.correlation):
            continue
        best = PreEcho(entry * cell_s, 10.0 * math.log10(common / spread**2), lag * cell_s, correlation)
    return best if best is not None and best.level_db <= HIGHEST_DB else None


def pre_echoes(frames: LowBandFrames) -> tuple[PreEcho, ...]:
    """Return the echoes of a side, in order of time."""
    middle = frames.middle.astype(np.float64)
    found = (pre_echo(middle, first, entry, frames.cell_s) for first, entry in entries(middle, frames.cell_s))
    return tuple(sorted((echo for echo in found if echo is not None), key=lambda echo: echo.entry_s))


@dataclass(frozen=True)
class PrintThrough(Derived[tuple[PreEcho, ...]]):
    """Print-through ahead of loud entries."""

    id: ClassVar[str] = "noise.print-through"
    publishes: ClassVar[Mapping[str, str]] = {"noise.print_through": "dB", "noise.print_through_turn": "s"}
    meanings: ClassVar[Mapping[str, str]] = {
        "noise.print_through": (
            "Level of what may be print-through of a tape, against the loud entry it foretells, from 0.7 to 2 kHz: the "
            "strongest echo 0.5 to 2.5 s ahead of an entry 30 dB above the quiet before it, whose energy by 11 ms "
            "correlates with that of the entry by 0.8 or more; none without. A soft upbeat may look alike."
        ),
        "noise.print_through_turn": "How long before the entry that echo lies: one turn of the reel.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the low band, which has the energy about 1 kHz."""
        return (LowBandLines(),)

    def work(self, measured: Measurements) -> tuple[PreEcho, ...]:
        """Find the echoes."""
        return pre_echoes(measured[LowBandLines()])

    def publish(self, result: tuple[PreEcho, ...]) -> Mapping[str, Quantity]:
        """Return level and turn of the strongest echo, with the quiet it lies in."""
        if not result:
            return {}
        echo = max(result, key=lambda echo: echo.level_db)
        at = At(start_s=max(0.0, echo.entry_s - echo.turn_s), end_s=echo.entry_s)
        return {
            "noise.print_through": Quantity(value=echo.level_db, unit="dB", at=at),
            "noise.print_through_turn": Quantity(value=echo.turn_s, unit="s", at=at),
        }
