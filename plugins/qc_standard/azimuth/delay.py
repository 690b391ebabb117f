"""Delay of one channel against the other: windows along the side vote, each by the phase of its cross spectrum.

Where sounds are placed by level, both channels have them at once, and the phase of their cross spectrum is 0 whatever
room or width is added: that turns the phase of each bin by chance, and two thousand bins have chance in the mean. A
delay turns all of them by one straight line. Windows that agree on a delay have it from the machine; where each has
another, microphones that stand apart or an effect made it.
"""

from __future__ import annotations

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
"""Spectra of a side, one a second, that this needs at the least."""
WINDOWS, LEAST_OF_WINDOW = 20, 3
"""Windows of a side at the most, and the spectra of each at the least: a hit alone may last a second (practice)."""
MOST = 600e-6
"""s; longest delay that is tried."""
POINTS = 1 << 17
"""Points of the correlation over time: one every 1.3 to 1.4 us."""
STRAIGHT = 0.33
"""Mean cosine of the phases about the line, as the windows weigh it, from which it is one (practice): 0.05 by chance,
up to 0.30 where an instrument that is recorded by two microphones leads, and from 0.39 on in music with a middle."""
SPREAD_S = 6e-6
"""s from the median within which half the weight of the windows must lie (practice)."""


@dataclass(frozen=True, slots=True)
class DelayResult:
    """Delay of the right channel against the left in s, negative where the left is late; None if unclear."""

    delay_s: float | None
    mono: bool
    spread_s: float | None = None
    """s from that delay within which the windows have half of their weight"""


@dataclass(frozen=True, slots=True)
class Vote:
    """Delay in s that a window is for, the mean cosine of its phases about that line, and its weight."""

    delay_s: float
    straight: float
    weight: float


def vote(spectra: Spectra, segments: slice) -> Vote:
    """Return the delay at which the phases of some segments agree best; they weigh as the square of how well they do.

    Each bin counts by its coherency, so that no frequency leads because it is loud. Silence has no weight.
    """
    band, counts = spectra.bins(LOW_HZ, HIGH_HZ), spectra.counts[segments].astype(np.float64)
    power = spectra.power[segments, :, band].astype(np.float64)
    each = spectra.cross[segments, band] / np.sqrt(np.maximum(power[:, 0] * power[:, 1], 1e-36))
    coherency = counts @ each
    most = float(np.abs(coherency).sum())
    if most <= 0.0:
        return Vote(0.0, 0.0, 0.0)
    bins = np.zeros(POINTS // 2 + 1, dtype=np.complex128)
    bins[band] = coherency
    step = 1.0 / (POINTS * spectra.bin_hz)
    far = int(MOST / step)
    correlation = 0.5 * POINTS * np.fft.irfft(bins, POINTS)
    near: Array = np.concatenate([correlation[-far:], correlation[: far + 1]])
    at = min(max(1, int(near.argmax())), 2 * far - 1)
    before, there, after = near[at - 1 : at + 2].tolist()
    bend = before - 2.0 * there + after
    shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    straight = there / most
    return Vote((far - at - shift) * step, straight, straight**2 * float(counts.sum()))


def median(values: Array, weights: Array) -> float:
    """Return the weighted median of values."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][int(np.searchsorted(total, 0.5 * total[-1]))])


def agreed(votes: list[Vote]) -> tuple[float, float] | None:
    """Return the delay that the windows agree on and their spread about it in s; None where they do not agree."""
    delays, straight, weights = np.array([(one.delay_s, one.straight, one.weight) for one in votes]).T
    if weights.sum() <= 0.0 or float((weights * straight).sum()) < STRAIGHT * float(weights.sum()):
        return None
    delay = median(delays, weights)
    spread = median(np.abs(delays - delay), weights)
    return (delay, spread) if spread <= SPREAD_S else None


@dataclass(frozen=True)
class ChannelDelay(Derived[DelayResult]):
    """The delay between the channels over a whole side."""

    id: ClassVar[str] = "azimuth.delay"
    version: ClassVar[int] = 2
    publishes: ClassVar[Mapping[str, str]] = {"stereo.delay": "us", "stereo.delay_spread": "us"}
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.delay": (
            "Time by which one channel is late against the other, the median of up to 20 windows of the side; none "
            "where they do not agree, or the channels have too little in common from 400 Hz to 12 kHz."
        ),
        "stereo.delay_spread": "Time from that median within which half of the windows lie, by weight.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the spectra of the side."""
        return (SideSpectra(),)

    def work(self, measured: Measurements) -> DelayResult:
        """Ask the windows of the side, and find whether they agree."""
        spectra, mono = Spectra(measured[SideSpectra()]), measured.stream.mono
        there = int(spectra.counts.sum())
        if mono or there < LEAST_SPECTRA:
            return DelayResult(None, mono)
        windows = min(WINDOWS, there // LEAST_OF_WINDOW, len(spectra.counts))
        borders = np.linspace(0, len(spectra.counts), windows + 1).round().astype(int).tolist()
        found = agreed([vote(spectra, slice(first, end)) for first, end in pairwise(borders)])
        return DelayResult(None, mono) if found is None else DelayResult(found[0], mono, found[1])

    def publish(self, result: DelayResult) -> Mapping[str, Quantity]:
        """Return the size of the delay with the channel that is late."""
        if result.delay_s is None or result.spread_s is None:
            return {}
        at = At(channel="right" if result.delay_s > 0.0 else "left")
        return {
            "stereo.delay": Quantity(value=1e6 * abs(result.delay_s), unit="us", at=at),
            "stereo.delay_spread": Quantity(value=1e6 * result.spread_s, unit="us"),
        }
