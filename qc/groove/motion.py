"""Wall motion: the tap that turns programme into the displacement of the two groove walls.

Left is the inner wall, right the outer (L-1). Displacement is along each wall's normal, in m for a velocity of
1 m/s at 0 dBFS; it is linear in level, so one pass serves every cut level.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from qc.chain import Signal
from qc.contract import RunningTap, Samples, Stream, Tap
from qc.dsp import biquad, fir, recording

TRANSITION = 4_100.0
"""Hz above the top in which the pass band ends; what 44.1 kHz leaves between 20 kHz and the image of 20 kHz."""

STOP = 72.0
"""dB for which the top's stop band is designed (Kaiser's formula gives 71); its ripple below 20 kHz is 0.003 dB."""
IMAGE = 105.0
"""dB by which the images of doubling are down: bass has images that acceleration would show."""
AFTER = 8
"""Frames of motion given after the file's last one."""


class _Stage(Protocol):
    def push(self, x: Samples) -> Samples: ...


def motion_rate(rate: int) -> int:
    """Frames a second at which motion is worked out: 88,200 or 96,000, in step with the file and its sectors."""
    if rate < 60_000:
        return 2 * rate
    return rate // 2 if rate > 120_000 else rate


@dataclass(frozen=True)
class Displacement(Tap):
    """Displacement of the left and right wall, (2, frames + AFTER) at `motion_rate`, frame 0 at the file's frame 0.

    The groove does not stop where the file does: AFTER frames of it are given beyond the last one, so that
    derivatives can be read there. They count for nothing.
    """

    signal: Signal

    def rate(self, stream: Stream) -> int:
        """88,200 or 96,000 frames a second."""
        return motion_rate(stream.rate)

    def start(self, stream: Stream) -> RunningTap:
        """Begin on a stream of two channels."""
        return _Running(self.signal, stream)


class _Running:
    """Top and change of rate, bass mono, recording characteristic with subsonic, cutter pole, in that order."""

    def __init__(self, signal: Signal, stream: Stream) -> None:
        rate = motion_rate(stream.rate)
        end = signal.top + TRANSITION
        self._stages: list[_Stage] = []
        if rate > stream.rate:
            self._stages.append(fir.Doubler(fir.kaiser_low_pass(signal.top, end, rate, IMAGE)))
        else:
            if rate < stream.rate:  # what folds below the top's own stop band is taken out first
                fold = stream.rate / 2.0 - end
                self._stages.append(fir.Halver(fir.kaiser_low_pass(signal.top, fold, stream.rate, 80.0)))
            self._stages.append(fir.Same(fir.kaiser_low_pass(signal.top, end, rate, STOP)))
        self._left = -(-stream.frames * rate // stream.rate) + AFTER  # frames still to give
        self._side = biquad.paired(biquad.first_high(signal.bass_mono, rate)) if signal.bass_mono else None
        self._side_state = biquad.fresh(self._side, 2) if self._side is not None else None
        sections = recording.displacement(signal.subsonic, rate)
        if signal.cutter_pole:
            sections = np.vstack([sections, biquad.pole(signal.cutter_pole, rate)])
        self._sections = biquad.paired(sections)
        self._state = biquad.fresh(self._sections, 2)

    def push(self, x: Samples) -> Samples:
        """Take (2, n) of the file, give what is ready of the displacement."""
        for stage in self._stages:
            x = stage.push(x)
        x = x[:, : self._left]
        self._left -= x.shape[1]
        if self._side is not None and self._side_state is not None:
            x = self._narrowed(x, self._side, self._side_state)
        return biquad.run(x, self._sections, self._state, np.empty_like(x))

    def flush(self) -> Samples:
        """Give what the filters held back."""
        given = [self.push(np.zeros((2, 256)))]
        while self._left:
            given.append(self.push(np.zeros((2, 256))))
        return np.concatenate(given, axis=1)

    @staticmethod
    def _narrowed(x: Samples, sections: biquad.Sections, state: Samples) -> Samples:
        """Take the bass out of the difference signal (C-13)."""
        side = np.vstack([x[0] - x[1], np.zeros(x.shape[1])])
        mono = x[0] + x[1]
        side = biquad.run(side, sections, state, side)[0]
        return np.vstack([mono + side, mono - side]) * 0.5
