"""How each stretch of sound starts and ends: out of silence within a millisecond, or broken off.

A stretch of sound lies between two silences of 0.3 s or more, or at an end of the file. Its start is hard where the
first whole millisecond is as loud as the 100 ms that follow it (music rises over 5 to 100 ms, a struck instrument is
louder in its first millisecond than later), and where the first sample leaps into the middle of the wave, or the wave
begins with a step, or keeps the level of that first millisecond as a sound does that was there before. Its end is a
break where the level of its last 20 ms falls by 20 dB within 2 ms and does not return: reverberation, strings and
pipes need more than that, even a damped drum.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Programme, ProgrammeBounds, Quantity
from qc_standard.edges.milliseconds import MillisecondCells, Milliseconds
from qc_standard.edges.noise import SteadyNoise, noise_after, without_lines
from qc_standard.layout import silences
from qc_standard.spectrum.hum import Hum
from qc_standard.spectrum.low_band import LowBandLines
from qc_standard.spectrum.steady import SteadyLines

Cells = NDArray[np.float32]

WINDOW = 10
"""Milliseconds in a window of the programme."""
NOTHING = 1e-20
"""Mean square that stands for digital silence."""
FOLLOWS = 100
"""Cells that the first ones are compared with: 100 ms."""
ONSET = 1e-3
"""Power over that of the 100 ms at which the sound has begun: -30 dB."""
OUT_OF = 1e-4
"""Power of the 20 cells before a hard start, over that of the 100 ms: -40 dB."""
FULL, BEYOND = 10.0**-0.9, 10.0**0.8
"""Power of the first millisecond over that of the 100 ms: -9 dB is full level, 8 dB a tick (practice)."""
LEAP = 0.25
"""First sample out of silence over the rms of the 100 ms: -12 dB is in the middle of a wave (practice)."""
STEPS = 50
"""Cells that the step into the sound is compared with."""
STEP, NO_STEP = 10.0 ** (4.0 / 20.0), 1.0
"""Step into the sound over the greatest step in the next 50 ms: 4 dB is a cut through the wave (practice)."""
STEADY_FULL, STEADY = (10.0**-0.6, 10.0**0.4), 10.0**0.2
"""Without a step: the power of the first millisecond, -6 to 4 dB, and the change in the next 10 and 150 ms, 2 dB."""
FAINT = 1e-9
"""Mean square below which nothing breaks off: -90 dBFS."""
BEFORE_BREAK, WITHIN, AFTER_BREAK = 20, 2, 100
"""Cells: the level that breaks off is that of 20 ms, it falls within 2 ms, and has not returned after 100 ms."""
RING = 300
"""Cells before the end of the programme in which it may break off: the high-pass of the programme rings on."""
FALL = 100.0
"""Power over that of the 100 ms after it: 20 dB."""
HOLDS = 4.0
"""Power by which the last 20 ms may exceed the last 2 ms of a sound that breaks off and does not decay: 6 dB."""
FADED = 100.0
"""Power of the loudest of the last 10 s over that at the break, from which it is a fade that breaks off: 20 dB."""
BEHIND = 10_000
"""Cells of those 10 s."""
TOGETHER_S = 0.15
"""Seconds after the last tenth of noise in which it may break off."""
NOISE_LASTS_S = 1.5
"""Seconds that noise lasts at the least before it breaks off; the end of a fade may be as steady for a second."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A place at which sound starts or ends, in file seconds, and the level in dBFS that it starts or breaks off at."""

    at_s: float
    level: float | None
    """None where it rises or falls as music does"""
    fade: bool = False
    """whether the sound had faded by 20 dB before it broke off"""

    def quantity(self, track: int | None = None) -> Quantity | None:
        """Return the level with its place; None where there is no hard edge."""
        if self.level is None:
            return None
        return Quantity(value=self.level, unit="dBFS", at=At(start_s=self.at_s, track=track))


@dataclass(frozen=True, slots=True)
class EdgesResult:
    """Starts, ends and the noise after the ends of every stretch of sound, in order; equally many of each."""

    starts: tuple[Edge, ...]
    ends: tuple[Edge, ...]
    noises: tuple[SteadyNoise | None, ...]


def sounds(bounds: ProgrammeBounds) -> list[tuple[int, int]]:
    """Return the stretches between silences of 0.3 s as (first window, end) of 10 ms."""
    (there,) = np.nonzero(bounds.programme)
    if not len(there):
        return []
    quiet = silences(bounds)
    firsts = [int(there[0]), *(silence.end for silence in quiet)]
    return list(zip(firsts, [*(silence.first for silence in quiet), int(there[-1]) + 1], strict=True))


def start_of(cells: MillisecondCells, first: int) -> Edge:
    """Return how the sound starts whose first cell of programme is `first`."""
    power, step = cells.power, cells.step
    following = _mean(power[first + 2 : first + 2 + FOLLOWS])
    begin = max(0, first - 2 * WINDOW)
    above = np.flatnonzero(power[begin : first + 3 * WINDOW] > ONSET * following)
    onset = begin + int(above[0]) if len(above) else first
    at_s = onset * cells.seconds
    full = _mean(power[onset + 2 : onset + 2 + FOLLOWS])
    before = power[max(0, onset - 2 * WINDOW) : onset]
    reached = float(power[onset : onset + 2].max(initial=0.0))
    quiet = full > NOTHING and (not len(before) or _mean(before) <= OUT_OF * full)
    if not quiet or not FULL <= reached / full <= BEYOND:
        return Edge(at_s, None)
    if cells.leap(onset, onset + 2) >= LEAP * math.sqrt(full):
        return Edge(at_s, _level(reached))
    steps = float(step[onset + 2 : onset + 2 + STEPS].max(initial=0.0))
    into = float(step[onset : onset + 2].max(initial=0.0))
    near, late = (_mean(power[onset + a : onset + b]) / full for a, b in ((2, 12), (50, 150)))
    steady = all(1.0 / STEADY <= part <= STEADY for part in (near, late))
    steady = steady and STEADY_FULL[0] <= reached / full <= STEADY_FULL[1]
    if into >= STEP * steps or (steady and into >= NO_STEP * steps):
        return Edge(at_s, _level(reached))
    return Edge(at_s, None)


def end_of(cells: MillisecondCells, end: int, stop: int, audible: NDArray[np.float32]) -> Edge:
    """Return how the sound ends whose programme ends at cell `end`; the next one starts at `stop`.

    `audible` (windows,) is the power of each 10 ms without what lies below 20 Hz, so that direct current is no sound.
    """
    power, best = cells.power, Edge(end * cells.seconds, None)
    begin = max(BEFORE_BREAK, end - RING)
    for cell in _drops(power, begin, min(stop, len(power))):
        level, last = _mean(power[cell - BEFORE_BREAK : cell]), float(power[cell - 2 : cell].max())
        after = power[cell + WITHIN - 1 : max(end, cell + AFTER_BREAK)]
        windows = [round(100.0 * cells.seconds * place) for place in (cell - BEFORE_BREAK, cell)]
        loudest_window = float(audible[windows[0] : windows[1]].max(initial=0.0))
        if (
            level < FAINT
            or last * HOLDS < level
            or float(after.max(initial=0.0)) * FALL > level
            or loudest_window < level / HOLDS
        ):
            continue
        if best.level is None or _level(level) > best.level:
            loudest = _loudest(power[max(0, cell - BEHIND) : cell])
            best = Edge(cell * cells.seconds, _level(level), fade=loudest > FADED * level)
    return best


def _one_fault(end: Edge, noise: SteadyNoise | None) -> tuple[Edge, SteadyNoise | None]:
    """Return an end and its noise; where a fade and steady noise break off together, only what lasted is kept.

    Hum that runs to the end of the file is no fade, and a fade that keeps its level for a second is no noise.
    """
    if noise is None or not end.fade or not noise.start_s <= end.at_s <= noise.end_s + TOGETHER_S:
        return end, noise
    if end.at_s - noise.start_s >= NOISE_LASTS_S:
        return replace(end, level=None, fade=False), noise
    return end, None


def _drops(power: Cells, begin: int, stop: int) -> Iterator[int]:
    """Yield the cells from `begin` to `stop` between a loud and a far quieter one; the end of the file is one too."""
    if stop > begin:
        now = power[begin + WITHIN - 1 : stop]
        before = power[begin - 1 : begin - 1 + len(now)]
        falls = (before > NOTHING) & (now * np.float32(FALL) < before)
        yield from (begin + np.flatnonzero(falls)).tolist()
    if stop == len(power) and stop >= BEFORE_BREAK:
        yield stop


def _loudest(power: Cells) -> float:
    """Return the loudest tenth of a second, as a mean square."""
    tenths = len(power) // 100
    return float(power[: 100 * tenths].reshape(tenths, 100).mean(axis=1).max()) if tenths else _mean(power)


def _mean(power: Cells) -> float:
    return float(power.mean(dtype=np.float64)) if len(power) else 0.0


def _level(power: float) -> float:
    return 10.0 * math.log10(max(NOTHING, power))


@dataclass(frozen=True)
class Edges(Derived[EdgesResult]):
    """Starts and ends of all stretches of sound, and the noise behind them."""

    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "edges.starts-and-ends"
    publishes: ClassVar[Mapping[str, str]] = {
        "programme.hard_start": "dBFS",
        "programme.hard_end": "dBFS",
        "programme.fade_break": "dBFS",
        "programme.noise_after_end": "dBFS",
    }
    meanings: ClassVar[Mapping[str, str]] = {
        "programme.hard_start": "Level of the first millisecond of a side that starts within it; none where it rises.",
        "programme.hard_end": "Level of the last 20 ms of a side that breaks off within 2 ms; none where it decays.",
        "programme.fade_break": "Level at which the last fade of the side breaks off within 2 ms; none without.",
        "programme.noise_after_end": "Level of the steady noise after the side's last note; none without 1 s of it.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the cells of a millisecond, the programme, and the lines that are no noise."""
        return Milliseconds(), Programme(self.top), LowBandLines(), Hum(), SteadyLines()

    def work(self, measured: Measurements) -> EdgesResult:
        """Look at each end of each stretch of sound."""
        cells, bounds = measured[Milliseconds()], measured[Programme(self.top)]
        audible = bounds.power.max(axis=0, initial=0.0)
        stretches = sounds(bounds)
        stops = [*(first for first, _ in stretches[1:]), len(audible)][: len(stretches)]
        scale = 1.0 / (100.0 * cells.seconds)  # cells in a window of 10 ms
        starts = [start_of(cells, round(first * scale)) for first, _ in stretches]
        ends = [
            end_of(
                cells, round(end * scale), len(cells.power) if stop == len(audible) else round(stop * scale), audible
            )
            for (_, end), stop in zip(stretches, stops, strict=True)
        ]
        noises = [noise_after(bounds.power, end, stop) for (_, end), stop in zip(stretches, stops, strict=True)]
        faults = [_one_fault(end, noise) for end, noise in zip(ends, noises, strict=True)]
        lines = measured[Hum()], measured[SteadyLines()], measured[LowBandLines()]
        return EdgesResult(
            tuple(starts), tuple(end for end, _ in faults), tuple(without_lines(noise, *lines) for _, noise in faults)
        )

    def publish(self, result: EdgesResult) -> Mapping[str, Quantity]:
        """Return the levels at the start and the end of the side."""
        if not result.starts:
            return {}
        start, end, noise = result.starts[0], result.ends[-1], result.noises[-1]
        numbers = {
            "programme.hard_start": start.quantity(),
            "programme.fade_break" if end.fade else "programme.hard_end": end.quantity(),
            "programme.noise_after_end": noise.quantity() if noise else None,
        }
        return {name: quantity for name, quantity in numbers.items() if quantity is not None}
