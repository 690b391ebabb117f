"""Where there is programme: 10 ms windows above -60 dBFS rms in either channel (practice)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.chain import Chain
from qc.contract import At, Derived, Measurements, Need, Quantity
from qc.dsp.windows import PROGRAMME
from qc.groove.parts import Parts

WINDOWS_A_SECOND = 100
THRESHOLD = PROGRAMME
"""Mean square of -60 dBFS rms."""


@dataclass(frozen=True, eq=False)
class Heard:
    """What the programme search found: `first` and `last` in 10 ms windows from frame 0, None when silent."""

    first: int | None
    last: int | None
    power: NDArray[np.float32]
    """(2, windows): mean square of each channel, the last window may be a part"""
    duration_s: float

    @property
    def start_s(self) -> float:
        """Where the first window with programme begins, in file seconds."""
        return (self.first or 0) / WINDOWS_A_SECOND

    @property
    def end_s(self) -> float:
        """Where the last window with programme ends, in file seconds."""
        return min(self.duration_s, ((self.last or 0) + 1) / WINDOWS_A_SECOND)


@dataclass(frozen=True)
class Programme(Derived[Heard]):
    """Finds the first and the last programme of a side."""

    id: ClassVar[str] = "groove.programme"
    publishes: ClassVar[Mapping[str, str]] = {"layout.lead_in_silence": "s", "layout.lead_out_silence": "s"}
    meanings: ClassVar[Mapping[str, str]] = {
        "layout.lead_in_silence": "Silence in the file before the first programme.",
        "layout.lead_out_silence": "Silence in the file after the last programme.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003 - no chain value matters
        """Build it; it depends on nothing."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Ask for the energies of 10 ms."""
        return (Parts(),)

    def work(self, measured: Measurements) -> Heard:
        """Say where the programme lies."""
        parts = measured[Parts()]
        power = parts.sums[:, :2] / np.maximum(parts.counts, 1)[:, None]
        (there,) = np.nonzero(parts.programme)
        return Heard(
            first=int(there[0]) if len(there) else None,
            last=int(there[-1]) if len(there) else None,
            power=np.ascontiguousarray(power.T, dtype=np.float32),
            duration_s=measured.stream.frames / measured.stream.rate,
        )

    def publish(self, result: Heard) -> Mapping[str, Quantity]:
        """Silence before and after the programme, in s."""
        if result.first is None:
            return {}
        tail = result.duration_s - result.end_s
        return {
            "layout.lead_in_silence": Quantity(
                value=result.start_s, unit="s", at=At(start_s=0.0, end_s=result.start_s)
            ),
            "layout.lead_out_silence": Quantity(
                value=tail, unit="s", at=At(start_s=result.end_s, end_s=result.duration_s)
            ),
        }
