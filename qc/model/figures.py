"""Data of the pictures, which the report does not contain: curves along a side, groove views, a spectrum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.model.quantity import Polarity

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Curve:
    """A measurement along a side at even steps: `values` (n,) in `unit`, NaN where there is none.

    The first value is at `start_s` of the file, the next `step_s` later; values of windows are placed at their middle.
    """

    values: Array
    """float64"""
    unit: str
    start_s: float
    step_s: float
    title: str = ""
    """heading of its picture, the measurement's name by default"""
    label: str = ""
    """name of the line in the picture, the measurement's name by default"""
    least: bool = False
    """whether its least values are the bad ones"""


@dataclass(frozen=True, eq=False)
class GrooveTurn:
    """The edges (n,) of a stretch of one turn, in m outward from the middle of the turn in view.

    `away` is the distance in turns from the turn in view: -1 is the previous turn, which lies outside it, 1 the next.
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
    """fingerprints of the findings at this place"""
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
    """index of the point at which the measurement is worst"""
    narrowest: int
    """index of the point at which the middle turn is narrowest"""
    tip_radius: float
    """m, of the playback stylus"""
    turns: tuple[GrooveTurn, ...]

    @property
    def middle(self) -> GrooveTurn:
        """The turn in view."""
        return next(turn for turn in self.turns if turn.away == 0)

    @property
    def length(self) -> float:
        """Length of the view, m along the groove."""
        return (len(self.middle.inner) - 1) / self.rate * self.speed


@dataclass(frozen=True, eq=False)
class SpectralLine:
    """A steady tone in a spectrum: frequency in Hz, level in dBFS, height above the neighbouring bands in dB."""

    frequency: float
    level: float
    above: float


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Long-term average of both channels in bands of equal ratio: middles (n,) in Hz, levels (n,) in dBFS of a sine."""

    frequency: Array
    level: Array
    lines: tuple[SpectralLine, ...]
    seconds: float
    """length of the audio it was averaged over"""
