"""What pictures are drawn from, beside the report: curves along a side, grooves seen from above, a spectrum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.model.quantity import Polarity

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Curve:
    """A number followed along a side at even steps: `values` (n,), NaN where there is none, in `unit`.

    The first lies at `start_s` of the file, the next `step_s` later; of windows that is their middle.
    """

    values: Array
    unit: str
    start_s: float
    step_s: float


@dataclass(frozen=True, eq=False)
class GrooveTurn:
    """A stretch of one turn: its edges (n,), m outward from the middle of the turn that is looked at.

    `away` counts the turns from that one: -1 is the turn before, which lies outside it, 1 the one after.
    """

    away: Literal[-1, 0, 1]
    inner: Array
    outer: Array

    @property
    def width(self) -> Array:
        """Top width, m."""
        return self.outer - self.inner


@dataclass(frozen=True, eq=False)
class View:
    """The groove from above at one place of a side, predicted from its audio at the level the side is judged at."""

    findings: tuple[str, ...]
    """fingerprints of what was found here"""
    measures: tuple[str, ...]
    start_s: float
    rate: int
    """points a second"""
    speed: float
    """m/s under the stylus"""
    radius: float
    """m, of the middle of the turn"""
    polarity: Polarity
    worst: int
    """index of the point at which what was found is worst"""
    narrowest: int
    """index of the point at which the middle turn is narrowest"""
    tip_radius: float
    """m, of the stylus it is played with"""
    turns: tuple[GrooveTurn, ...]

    @property
    def middle(self) -> GrooveTurn:
        """The turn that is looked at."""
        return next(turn for turn in self.turns if turn.away == 0)

    @property
    def length(self) -> float:
        """Length of what is seen, m along the groove."""
        return (len(self.middle.inner) - 1) / self.rate * self.speed


@dataclass(frozen=True, eq=False)
class SpectralLine:
    """A steady tone that stands out of a spectrum: Hz, dBFS, and how far above what lies beside it, dB."""

    frequency: float
    level: float
    above: float


@dataclass(frozen=True, eq=False)
class Spectrum:
    """The long-term average of both channels in bands of equal ratio: (n,) middles in Hz, dBFS of a sine."""

    frequency: Array
    level: Array
    lines: tuple[SpectralLine, ...]
    seconds: float
    """how much of the side it was taken from"""
