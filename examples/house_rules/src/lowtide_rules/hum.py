"""Mains hum in the quiet passages: how loud 50 or 60 Hz and their harmonics stand where nothing else plays.

Each whole second of the side is transformed with a Hann window of that length, so that its lines lie at whole hertz.
A mains line takes five of them, for the mains wander by tenths of a hertz; what the noise has in as many lines beside
it is taken off. A second is quiet when what is left without the mains lines is quiet. Hum does not come and go, a note
does: so the hum of the side is that of the quiet second in the middle, when they are put in order.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from qc import Analysis, At, Block, Chain, Judged, Limit, LimitCheck, Model, Quantity, Stream

MAINS_HZ = (50, 60)
HARMONICS = (1, 2, 3)
QUIET = 0.5 * 10 ** (-50 / 10)
"""mean square below which a second is quiet once the mains lines are off: a sine of -50 dBFS"""
LOUD = 0.5 * 10 ** (-20 / 10)
"""mean square above which a second need not be looked at: no mains lines are that loud"""
LEAST_HZ = 10
"""rumble and a DC offset below this are no matter of hum"""
LEAST_SECONDS = 2
FLOOR_DBFS = -140.0
"""below this there is no hum to speak of"""


class Hum(NamedTuple):
    """The hum of a side."""

    level: float
    """dBFS, of all lines together; a sine at full scale is 0"""
    start_s: float
    """the quiet second that it is of"""
    channel: str


@dataclass(frozen=True)
class MainsHum(Analysis[Hum | None]):
    """Mains hum where nothing else plays; None for a side without two quiet seconds."""

    id: ClassVar[str] = "lowtide.mains-hum"
    publishes: ClassVar[Mapping[str, str]] = {"lowtide.hum_level": "dBFS"}
    meanings: ClassVar[Mapping[str, str]] = {
        "lowtide.hum_level": "Mains hum with its harmonics in the quiet passages, in the louder channel."
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003 - hum is hum whatever is cut
        """Build it."""
        return cls()

    def start(self, stream: Stream) -> Listening:
        """Begin on a side."""
        return Listening(stream)

    def publish(self, result: Hum | None) -> Mapping[str, Quantity]:
        """Give the level; a side that is never quiet has none."""
        if result is None:
            return {}
        at = At(start_s=result.start_s, end_s=result.start_s + 1.0, channel=result.channel)
        if result.level <= FLOOR_DBFS:
            return {"lowtide.hum_level": Quantity(value=FLOOR_DBFS, unit="dBFS", bound="<", at=at)}
        return {"lowtide.hum_level": Quantity(value=result.level, unit="dBFS", at=at)}


class Listening:
    """The analysis at work: one second after another, whatever the blocks."""

    def __init__(self, stream: Stream) -> None:
        self._rate = stream.rate
        self._held = np.zeros((2, stream.rate))
        self._filled = 0
        self._second = 0
        self._window = np.hanning(stream.rate + 1)[:-1]
        self._quiet: list[tuple[float, int, int]] = []
        """mean square of the hum, second, channel"""

    def push(self, block: Block) -> None:
        """Hear a block."""
        taken = 0
        while taken < block.samples.shape[1]:
            count = min(block.samples.shape[1] - taken, self._rate - self._filled)
            self._held[:, self._filled : self._filled + count] = block.samples[:, taken : taken + count]
            self._filled, taken = self._filled + count, taken + count
            if self._filled == self._rate:
                self._take()

    def finish(self) -> Hum | None:
        """Give the hum of the quiet second in the middle."""
        if len(self._quiet) < LEAST_SECONDS:
            return None
        power, second, channel = sorted(self._quiet)[(len(self._quiet) - 1) // 2]
        level = 10.0 * math.log10(power / 0.5) if power > 0.0 else FLOOR_DBFS
        return Hum(level, float(second), ("left", "right")[channel])

    def _take(self) -> None:
        """Take the second that is full."""
        if np.mean(self._held**2, axis=1).max() < LOUD:
            lines = spectrum(self._held, self._window)
            hum = np.array([max(mains(channel, hz) for hz in MAINS_HZ) for channel in lines])
            if (lines[:, LEAST_HZ:].sum(axis=1) - hum).max() < QUIET:
                louder = int(hum.argmax())
                self._quiet.append((float(hum[louder]), self._second, louder))
        self._filled, self._second = 0, self._second + 1


def spectrum(samples: NDArray[np.float64], window: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the mean square that lies at each hertz, (2, hertz), of one second (2, frames)."""
    found = np.abs(np.fft.rfft(samples * window, axis=1)) ** 2
    whole: NDArray[np.float64] = 2.0 * found / (samples.shape[1] * np.sum(window**2))
    return whole


def mains(lines: NDArray[np.float64], hz: int) -> float:
    """Give the mean square of a mains frequency and its harmonics, less what the noise beside has."""
    power = 0.0
    for line in (hz * k for k in HARMONICS):
        beside = np.concatenate([lines[line - 7 : line - 3], lines[line + 4 : line + 8]])
        power += max(0.0, float(lines[line - 2 : line + 3].sum() - 5.0 * beside.mean()))
    return power


class HumLimits(Model):
    """How loud it may be."""

    most: Limit


class HumInTheQuiet(LimitCheck[HumLimits]):
    """Mains hum stands above the noise of a good pressing."""

    id = "lowtide.mains-hum"
    title = "Mains hum in the quiet passages"
    why = "Between tracks and in fades nothing covers it, and the disc adds its own rumble at the same frequencies."
    how = (
        "The level of 50 or 60 Hz, whichever is stronger, with the second and third harmonic, in seconds that are "
        "below -50 dBFS without them; of these seconds the middle one by level."
    )
    remedy = "Ask for a transfer with the earth loop mended, or take the lines out with narrow notches in the gaps."
    blind_to = "Hum under music, and a held bass note on a mains frequency where half of the quiet seconds have it."
    needs = (MainsHum,)
    Limits = HumLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "most": Judged("lowtide.hum_level", "<=", "the mains hum in the quiet passages")
    }
