"""Line-up tones at the head of a side: steady sines, one after the other, before anything else sounds.

A tone is a stretch of at least 2 s in which every 100 ms is one spectral line of one frequency and one level. Music
holds no level that long to 0.2 dB but for an organ or a synthesiser: where a declared track begins before the tone
ends, the declaration wins and the tone is programme.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEAST = 2.0
"""s that a tone lasts at the least (practice)."""
BLOCKS_A_SECOND = 10
SILENT = 1e-6
"""Mean square up to which a block holds no tone: -60 dBFS rms."""
LINE = 1e-3
"""Part of the energy that may lie outside the line: -30 dB (practice)."""
LEVEL = 10.0 ** (0.2 / 10.0)
"""Factor of energy within which a tone keeps its level: 0.2 dB (practice)."""
PITCH = 0.01
"""Part of itself by which its frequency may wander (practice)."""
BETWEEN = 3
"""Blocks between two tones, where the step falls, that may be anything (practice)."""
SPREAD = 3
"""Bins of 10 Hz to either side of the line that are the line's own: a Hann window's main lobe, and one more."""


@dataclass(frozen=True, slots=True)
class LineupTone:
    """A steady sine: file seconds, frequency in Hz, peak of the louder channel in dBFS."""

    start_s: float
    end_s: float
    frequency: float
    level: float


@dataclass(slots=True)
class _Stretch:
    start: int
    end: int
    frequency: float
    total: float
    """sum of the mean squares of its blocks"""

    @property
    def energy(self) -> float:
        """Mean square."""
        return self.total / (self.end - self.start)


class LineupTones:
    """Looks for tones from frame 0 on, until something sounds that is none; then it takes no time any more."""

    def __init__(self, rate: int) -> None:
        self._rate, self._size = rate, rate // BLOCKS_A_SECOND
        self._window = np.hanning(self._size + 1)[:-1]
        self._kept = np.empty((2, self._size))
        self._filled = 0
        self._block = 0
        self._other = 0  # blocks that sound since the last tone, but for those of the stretch that goes on
        self._goes_on = False
        self._open = True
        self._found: list[_Stretch] = []

    @property
    def listening(self) -> bool:
        """Whether nothing has sounded yet that is no tone, so that another one may follow."""
        return self._open

    def push(self, x: NDArray[np.float64]) -> None:
        """Take the next frames, (2, n)."""
        at = 0
        while self._open and at < x.shape[1]:
            count = min(self._size - self._filled, x.shape[1] - at)
            self._kept[:, self._filled : self._filled + count] = x[:, at : at + count]
            self._filled, at = self._filled + count, at + count
            if self._filled == self._size:
                self._filled = 0
                self._take()

    def finish(self) -> tuple[LineupTone, ...]:
        """Return the tones that lasted long enough, in the order of time."""
        seconds = 1.0 / BLOCKS_A_SECOND
        return tuple(
            LineupTone(tone.start * seconds, tone.end * seconds, tone.frequency, 10.0 * math.log10(2.0 * tone.energy))
            for tone in self._found
            if (tone.end - tone.start) * seconds >= LEAST
        )

    def _take(self) -> None:
        block, self._block = self._block, self._block + 1
        energies = np.mean(self._kept**2, axis=1)
        energy = float(energies.max())
        if energy <= SILENT:
            self._end_stretch()
            return
        line = self._line(self._kept[int(energies.argmax())])
        if line is not None and self._continues(block, line, energy):
            self._found[-1].end = block + 1
            self._found[-1].total += energy
            return
        self._end_stretch()
        if line is not None:
            self._found.append(_Stretch(block, block + 1, line, energy))
            self._goes_on = True
        else:
            self._other += 1
        self._open = self._other <= BETWEEN

    def _end_stretch(self) -> None:
        """End the stretch that goes on, if one does: where it is too short for a tone it is something else."""
        if self._goes_on:
            blocks = self._found[-1].end - self._found[-1].start
            self._other = 0 if blocks >= LEAST * BLOCKS_A_SECOND else self._other + blocks
        self._goes_on = False

    def _continues(self, block: int, line: float, energy: float) -> bool:
        """Whether a line goes on with the last stretch."""
        if not self._goes_on or self._found[-1].end != block:
            return False
        last = self._found[-1]
        return abs(line / last.frequency - 1.0) < PITCH and 1.0 / LEVEL < energy / last.energy < LEVEL

    def _line(self, x: NDArray[np.float64]) -> float | None:
        """Find the frequency in Hz of a block that is one spectral line; None for any other."""
        power = np.abs(np.fft.rfft(x * self._window)) ** 2
        peak = int(power.argmax())
        if peak < 1 or peak + 1 >= len(power):
            return None
        outside = float(power.sum() - power[max(0, peak - SPREAD) : peak + SPREAD + 1].sum())
        if outside > LINE * float(power.sum()):
            return None
        below, at, above = np.sqrt(power[peak - 1 : peak + 2])
        # between bins of a Hann window the offset is (2 r - 1) / (1 + r), r the ratio of the two greatest
        ratio = max(below, above) / at
        offset = (2.0 * ratio - 1.0) / (1.0 + ratio) * (1.0 if above >= below else -1.0)
        return float((peak + offset) * self._rate / self._size)
