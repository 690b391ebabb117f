"""The worst of a measurement with its place, and the numbers of a side at one cut level."""

from __future__ import annotations

from dataclasses import dataclass, field

CHANNELS = ("left", "right")


@dataclass(frozen=True, slots=True)
class Worst:
    """A value in SI or as a ratio, the window it is taken over and the worst sector in it (span sectors)."""

    value: float
    sector: int
    start: int
    end: int
    channel: str | None = None


@dataclass(slots=True)
class NumbersAtLevel:
    """Numbers at one level and polarity: the worst of each measurement, the radius (m) after some sectors."""

    worst: dict[str, Worst] = field(default_factory=dict)
    radii: dict[int, float] = field(default_factory=dict)
