"""Wall motion: the tap that turns programme into the displacement of the two groove walls.

Left is the inner wall, right the outer (L-1). Displacement is along each wall's normal, in m for a velocity of
1 m/s at 0 dBFS; it is linear in level, so one pass serves every cut level.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.audio.buffers import Buffers
from qc.dsp.filters import biquad, cascade, recording
from qc.dsp.filters.cascade import LAG
from qc.dsp.kernels.compile import read_only
from qc.groove.signal.band_limit import Topped, motion_rate
from qc.model.cutting_chain import Signal
from qc.plugin_base import RunningTap, Samples, Stream, Tap

WAITING = 4
"""Slices of motion that may wait to be processed; their memory is used again."""
LOW_HZ = 300.0
"""Hz below which the groove model looks at vertical motion by itself."""
LOW_LATE = 2 * LAG
"""Frames by which the low rows of `Motion` come later than the others."""


@dataclass(frozen=True)
class Motion(Tap):
    """Displacement of the left and right wall, and both below 300 Hz, (4, frames + AFTER) at `motion_rate`.

    The first two rows have their frame 0 at the file's frame 0, the low ones, which the same cascade gives, LOW_LATE
    frames later. The groove does not stop where the file does: AFTER frames of it are given beyond the last one, so
    that derivatives can be read there. They count for nothing.
    """

    signal: Signal

    def base(self) -> Tap:
        """Listen to what lies below the top."""
        return Topped(self.signal.top)

    def rate(self, stream: Stream) -> int:
        """88,200 or 96,000 frames a second."""
        return motion_rate(stream.rate)

    def start(self, stream: Stream) -> RunningTap:
        """Begin on a stream of two channels."""
        return _WallMotionRunning(self.signal, stream)


@dataclass(frozen=True)
class Displacement(Tap):
    """Displacement of the left and right wall, (2, frames + AFTER): what `Motion` has in its first two rows."""

    signal: Signal

    def base(self) -> Tap:
        """Listen to the motion."""
        return Motion(self.signal)

    def rate(self, stream: Stream) -> int:
        """88,200 or 96,000 frames a second."""
        return motion_rate(stream.rate)

    def start(self, stream: Stream) -> RunningTap:  # noqa: ARG002
        """Begin; there is nothing to carry on."""
        return _FirstTwo()


class _FirstTwo:
    lasting = True

    def push(self, x: Samples) -> Samples:
        """Return the first two rows."""
        return x[:2]

    def flush(self) -> Samples:
        """Return nothing: all frames have been returned."""
        return np.zeros((2, 0))


class _WallMotionRunning:
    """Bass mono, recording characteristic with subsonic, cutter pole, in that order."""

    lasting = True

    def __init__(self, signal: Signal, stream: Stream) -> None:
        rate = motion_rate(stream.rate)
        self._mono = _BassMono(signal.bass_mono, rate) if signal.bass_mono else None
        self._early = LAG  # frames still to come out before frame 0 does
        self._sections = cascade.coefficients(
            np.vstack([
                recording.displacement(signal.subsonic, rate, signal.cutter_pole),
                biquad.butterworth_4_low(LOW_HZ, rate),
            ])
        )  # fmt: skip
        self._state = cascade.at_rest()
        self._size = 0
        self._buffers = Buffers((0,), np.float64, WAITING)

    def push(self, x: NDArray[Any]) -> Samples:
        """Take (2, n) from below the top, return what is ready of the motion."""
        if self._mono is not None:
            x = self._mono.push(x)
        early = min(self._early, x.shape[1])
        if early:
            self._early -= early
            self._cut(x[:, :early])
        return self._cut(x[:, early:])

    def flush(self) -> Samples:
        """Return nothing: the frames behind the file's last one, which came with the flush of the top, end it."""
        return np.zeros((4, 0))

    def _room(self, frames: int) -> Samples:
        """Return (4, frames) to be filled, C order, in memory that is no longer in use."""
        if 4 * frames > self._size:
            self._size = 4 * frames
            self._buffers = Buffers((self._size,), np.float64, WAITING)
        return self._buffers.take()[: 4 * frames].reshape(4, frames)

    def _cut(self, x: NDArray[Any]) -> Samples:
        """Turn programme (2, n) into motion, (4, n)."""
        motion = self._room(x.shape[1])
        if x.shape[1]:
            left, right = read_only(x)
            cascade.run(left, right, x.shape[1], self._sections, self._state, motion[:2], motion[2:])
            cascade.settle(self._state)
        return motion


class _BassMono:
    """Takes the bass out of the difference signal (C-13)."""

    def __init__(self, corner: float, rate: int) -> None:
        self._sections = biquad.paired(biquad.first_high(corner, rate))
        self._state = biquad.fresh(self._sections, 2)

    def push(self, x: NDArray[Any]) -> NDArray[Any]:
        """Take (2, n), give as many."""
        left, right = x.astype(np.float64)
        apart = np.vstack([left - right, np.zeros(x.shape[1])])
        apart = biquad.run(apart, self._sections, self._state, apart)[0]
        both = left + right
        return (0.5 * np.vstack([both + apart, both - apart])).astype(np.float32)
