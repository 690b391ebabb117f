"""Delay of one channel against the other, from the slope of the phase of their mean coherency.

Where music has a middle, both channels have it in common at all frequencies, and the phase of their cross spectrum is
0. A delay turns it by a straight line. Wide reverberation and spaced microphones leave no coherency at high
frequencies, or no straight line, and then nothing can be said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Quantity
from qc_standard.spectrum.spectra import SideSpectra, Spectra

Array = NDArray[np.float64]

LOW_HZ, HIGH_HZ = 400.0, 12_000.0
"""Band whose phase is looked at."""
LEAST_SPECTRA = 10
"""Spectra in a mean: without a common signal its coherency is about 1 / sqrt(10)."""
COHERENT, LEAST_SHARE = 0.6, 0.2
"""Coherency of a bin that counts, and the part of the bins that must (practice)."""
STRAIGHT = 0.97
"""Mean cosine of the phase about the line, from which it is straight: within 14 degrees rms."""
MOST, STEP = 600e-6, 2e-6
"""s; delays that are tried, and the distance between two of them."""
AGREE = 6e-6
"""s by which the delay of a tenth of the side may differ and agree."""
PIECES = 10


@dataclass(frozen=True, slots=True)
class DelayResult:
    """Delay of the right channel against the left in s, negative where the left is late; None if unclear."""

    delay_s: float | None
    mono: bool


def coherency(spectra: Spectra, segments: slice) -> NDArray[np.complex128]:
    """Return the mean coherency of some segments in each bin of the band."""
    band, counts = spectra.bins(LOW_HZ, HIGH_HZ), spectra.counts[segments].astype(np.float64)
    power = spectra.power[segments, :, band].astype(np.float64)
    each = spectra.cross[segments, band] / np.sqrt(np.maximum(power[:, 0] * power[:, 1], 1e-36))
    mean: NDArray[np.complex128] = (counts[:, None] * each).sum(axis=0) / max(1.0, float(counts.sum()))
    return mean


def delay_of(hertz: Array, mean: NDArray[np.complex128]) -> float | None:
    """Return the delay that makes the phase straight, in s; None where the channels have too little in common."""
    size = np.abs(mean)
    coherent = size > COHERENT
    if coherent.mean() < LEAST_SHARE:
        return None
    f, weight = hertz[coherent], size[coherent] ** 2
    unit = mean[coherent] / size[coherent]
    tried = np.arange(-MOST, MOST + STEP, STEP)
    fits = np.real(np.exp(-2j * np.pi * np.outer(tried, f)) @ (weight * unit)) / weight.sum()
    delay = float(tried[int(np.argmax(fits))])
    for _ in range(4):
        phase = np.angle(unit * np.exp(-2j * np.pi * f * delay))
        delay += float((weight * f * phase).sum() / (weight * f * f).sum()) / (2.0 * math.pi)
    left = unit * np.exp(-2j * np.pi * f * delay)
    return delay if float((weight * left.real).sum() / weight.sum()) >= STRAIGHT else None


@dataclass(frozen=True)
class ChannelDelay(Derived[DelayResult]):
    """The delay between the channels over a whole side."""

    id: ClassVar[str] = "azimuth.delay"
    publishes: ClassVar[Mapping[str, str]] = {"stereo.delay": "us"}
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.delay": (
            "Time by which one channel is late against the other, over the whole side; none where the channels have "
            "too little in common from 400 Hz to 12 kHz."
        )
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra of the side."""
        return (SideSpectra(),)

    def work(self, measured: Measurements) -> DelayResult:
        """Fit the side, and ask its tenths whether they agree."""
        spectra, mono = Spectra(measured[SideSpectra()]), measured.stream.mono
        count = len(spectra.counts)
        hertz = spectra.frequencies[spectra.bins(LOW_HZ, HIGH_HZ)]
        if mono or int(spectra.counts.sum()) < LEAST_SPECTRA:
            return DelayResult(None, mono)
        whole = delay_of(hertz, coherency(spectra, slice(0, count)))
        if whole is None:
            return DelayResult(None, mono)
        borders = np.linspace(0, count, PIECES + 1).astype(int).tolist()
        pieces = [slice(a, b) for a, b in pairwise(borders) if b > a]
        pieces = [piece for piece in pieces if int(spectra.counts[piece].sum()) >= LEAST_SPECTRA]
        delays = [delay for piece in pieces if (delay := delay_of(hertz, coherency(spectra, piece))) is not None]
        agree = sum(abs(delay - whole) <= AGREE for delay in delays)
        return DelayResult(whole if 2 * agree >= len(delays) else None, mono)

    def publish(self, result: DelayResult) -> Mapping[str, Quantity]:
        """Return the size of the delay with the channel that is late."""
        if result.delay_s is None:
            return {}
        at = At(channel="right" if result.delay_s > 0.0 else "left")
        return {"stereo.delay": Quantity(value=1e6 * abs(result.delay_s), unit="us", at=at)}
