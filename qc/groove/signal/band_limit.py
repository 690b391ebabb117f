"""The programme as it reaches the recording curve: below the chain's top, at the rate that motion is worked out at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import fir
from qc.dsp.filters.cascade import LAG
from qc.plugin_base import RunningTap, Samples, Stream, Tap

TRANSITION = 4_100.0
"""Hz above the top in which the pass band ends; what 44.1 kHz leaves between 20 kHz and the image of 20 kHz."""
STOP = 72.0
"""dB for which the top's stop band is designed (Kaiser's formula gives 71); its ripple below 20 kHz is 0.003 dB."""
NEARLY = 100.0
"""Hz before the end of the top's fall, from which on it is 60 dB down and more, that count as beyond it."""
GUARD = 1_050.0
"""Hz on either side of half the file's rate in which doubling 44.1 kHz goes from all to nothing: a filter that could do
it at half the rate itself would have no end. Up to 21 kHz the top's shape is kept, and images are gone."""
FOLDED = 86.0
"""dB for which the filter that halves the rate is designed: what folds down upon the top's pass or transition band is
80 dB down (practice), and the pass band within 0.001 dB."""
AFTER = 32
"""Frames of motion given after the file's last one."""
BEHIND = AFTER + LAG
"""Frames given after the file's last one, so that filters behind this tap can finish."""


class _Stage(Protocol):
    def push(self, x: NDArray[Any]) -> NDArray[Any]: ...


def doubling(top: float, rate: int) -> NDArray[np.float64]:
    """Design the filter that doubles a rate: the top, as at every rate, and what takes the images away.

    Returns the right half at twice the rate. A tone's image lies as far below the rate as the tone lies above 0 Hz.
    Images that would fall into the top's own fall are taken out by a half-band filter. Where there are none of those,
    images are as far down as the top is, and of the lower half of the programme, where acceleration would show them,
    twice as far. Its delay is 142 frames at 88.2 kHz and 69 at 96 kHz for a top of 20 kHz; the stream takes it out.
    """
    end, twice = top + TRANSITION, 2.0 * rate
    shape = fir.kaiser_low_pass(top, end, twice, STOP)
    if rate / 2.0 < end - NEARLY:
        return fir.in_turn(shape, fir.half_band(rate / 2.0 - GUARD, twice, STOP))
    return fir.in_turn(shape, fir.kaiser_low_pass(end, rate - top / 2.0, twice, STOP))


def motion_rate(rate: int) -> int:
    """Frames a second at which motion is worked out: 88,200 or 96,000, in step with the file and its sectors."""
    if rate < 60_000:
        return 2 * rate
    return rate // 2 if rate > 120_000 else rate


@dataclass(frozen=True)
class Topped(Tap):
    """The source below the chain's top, (2, frames + BEHIND) float32 at `motion_rate`.

    Frame 0 is the file's frame 0: the filters have linear phase, and what they hold back comes with the flush.
    """

    top: float
    """Hz, edge of the pass band"""

    def rate(self, stream: Stream) -> int:
        """88,200 or 96,000 frames a second."""
        return motion_rate(stream.rate)

    def start(self, stream: Stream) -> RunningTap:
        """Begin on a stream of two channels."""
        return _BandLimiting(self.top, stream)


class _BandLimiting:
    lasting = True

    def __init__(self, top: float, stream: Stream) -> None:
        rate, end = motion_rate(stream.rate), top + TRANSITION
        self._stages: list[_Stage] = []
        if rate > stream.rate:
            self._stages.append(fir.Doubler(doubling(top, stream.rate)))
        else:
            if rate < stream.rate:  # what folds below the top's own stop band is taken out first
                self._stages.append(fir.Halver(fir.half_band(end, stream.rate, FOLDED)))
            self._stages.append(fir.Same(fir.kaiser_low_pass(top, end, rate, STOP)))
        self._left = -(-stream.frames * rate // stream.rate) + BEHIND

    def push(self, x: Samples) -> Any:
        """Take (2, n) of the file, return what is ready, (2, m), float32."""
        ready: NDArray[Any] = x
        for stage in self._stages:
            ready = stage.push(ready)
        ready = ready[:, : self._left]
        self._left -= ready.shape[1]
        return ready.copy()  # the filters use their memory again

    def flush(self) -> Any:
        """Return what the filters kept back."""
        parts = [self.push(np.zeros((2, 256)))]
        while self._left:
            parts.append(self.push(np.zeros((2, 256))))
        return np.concatenate(parts, axis=1)
