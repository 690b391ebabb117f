"""Fades that were cut to 16 bits without dither: in the last steps the samples hardly ever change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Programme, Quantity
from qc_standard.bits.low_bits import BitsByPart, LowBits
from qc_standard.edges.starts_and_ends import sounds

COARSE = 16
"""Most bits with which the steps of a tail are coarse enough to be heard."""
LONGEST, LEAST = 30, 10
"""Parts of 10 ms at the end of a tail that are looked at, and that it has at the least."""


@dataclass(frozen=True, slots=True)
class Tail:
    """Part of the samples, in %, that equal the one before in the last faint 0.3 s of a tail, with its place."""

    same: float
    start_s: float
    end_s: float

    def quantity(self, track: int | None = None) -> Quantity:
        """Return the part with its place."""
        return Quantity(value=self.same, unit="%", at=At(start_s=self.start_s, end_s=self.end_s, track=track))


def tail_of(bits: BitsByPart, begin: int, stop: int) -> Tail | None:
    """Return the tail between two parts without programme; None where its steps are fine, or too few are faint."""
    (changing,) = np.nonzero(bits.changes[begin:stop] > 0)
    (last,) = changing[-1:] + begin + 1 if len(changing) else (begin,)
    (loud,) = np.nonzero(bits.changes[begin:last] < 0)
    first = max(int(last) - LONGEST, begin + int(loud[-1]) + 1 if len(loud) else begin)
    if last - first < LEAST or not 0 < int(bits.used[first:last].max()) <= COARSE:
        return None
    changes = float(bits.changes[first:last].mean()) / (2.0 * bits.frames)
    return Tail(100.0 * (1.0 - changes), first * bits.seconds, float(last) * bits.seconds)


@dataclass(frozen=True)
class Tails(Derived[tuple[Tail | None, ...]]):
    """The tail of each stretch of sound, in the order of `Edges`."""

    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "bits.tails"
    publishes: ClassVar[Mapping[str, str]] = {"file.truncated_tail": "%"}
    meanings: ClassVar[Mapping[str, str]] = {
        "file.truncated_tail": (
            "Samples that equal the one before, in the last 0.3 s in which the side's tail lies below -78 dBFS and "
            "still changes; none where it has more than 16 bits. With dither it is some 60 %."
        )
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the bits by 10 ms and the programme."""
        return LowBits(), Programme(self.top)

    def work(self, measured: Measurements) -> tuple[Tail | None, ...]:
        """Look at what follows each stretch of sound."""
        bits, stretches = measured[LowBits()], sounds(measured[Programme(self.top)])
        parts = 0.01 / bits.seconds
        stops = [*(round(first * parts) for first, _ in stretches[1:]), len(bits.used)][: len(stretches)]
        return tuple(tail_of(bits, round(end * parts), stop) for (_, end), stop in zip(stretches, stops, strict=True))

    def publish(self, result: tuple[Tail | None, ...]) -> Mapping[str, Quantity]:
        """Return the number of the side's last tail."""
        last = result[-1] if result else None
        return {"file.truncated_tail": last.quantity()} if last else {}
