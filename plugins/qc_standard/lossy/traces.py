"""What a lossy coder left: the frames with holes, and the edge of the sound in the stretch that has most of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np

from qc.plugin_api import At, Chain, Derived, Measurements, Need, Quantity
from qc_standard.lossy.edge import CoderEdge, steep_edge
from qc_standard.lossy.holes import Holes, HolesResult
from qc_standard.spectrum.spectra import SideSpectra, Spectra


@dataclass(frozen=True, slots=True)
class CoderTraces:
    """Traces of the stretch of a side that has most holes."""

    holes: int
    """frames that have a hole, of 256 in a row that sound"""
    start_s: float
    end_s: float
    low_hz: float
    """frequency that a tenth of the holes lie below ..."""
    high_hz: float
    """... and above"""
    edge: CoderEdge | None

    def quantity(self) -> Quantity:
        """Return the number of frames, at its place."""
        return Quantity(value=self.holes, unit="1", at=At(start_s=self.start_s, end_s=self.end_s))


def traces(found: HolesResult, spectra: Spectra) -> CoderTraces | None:
    """Return the traces of a side, None where it has no hole."""
    most = found.most()
    if most is None:
        return None
    first, last = most
    start_s, end_s = (float(found.at[first]) / found.rate, float(found.at[last] + found.size) / found.rate)
    low_hz, high_hz = np.quantile(found.hz[first : last + 1], [0.1, 0.9]).tolist()
    return CoderTraces(last + 1 - first, start_s, end_s, low_hz, high_hz, steep_edge(spectra, start_s, end_s))


@dataclass(frozen=True)
class LossyTraces(Derived[CoderTraces | None]):
    """Traces of a lossy coder."""

    id: ClassVar[str] = "lossy.traces"
    publishes: ClassVar[Mapping[str, str]] = {
        "file.holes": "1", "file.holes_below_edge": "1", "file.coder_edge": "Hz", "file.coder_edge_drop": "dB",
    }  # fmt: skip
    meanings: ClassVar[Mapping[str, str]] = {
        "file.holes": (
            "Frames of 21 ms, of 256 in a row, in which a band of 350 Hz above 7 kHz is missing that is there just "
            "before or after, in the stretch of the side that has most."
        ),
        "file.holes_below_edge": "The same, where the sound of that stretch ends in a steep edge; none elsewhere.",
        "file.coder_edge": "Frequency from 10 to 20.7 kHz at which the sound of that stretch ends at once.",
        "file.coder_edge_drop": "What the sound falls by across that edge, within 700 Hz.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the holes and the spectra."""
        return Holes(), SideSpectra()

    def work(self, measured: Measurements) -> CoderTraces | None:
        """Find the stretch with most holes."""
        return traces(measured[Holes()], Spectra(measured[SideSpectra()]))

    def publish(self, result: CoderTraces | None) -> Mapping[str, Quantity]:
        """Return the number of frames with holes, and the edge where there is one."""
        if result is None:
            return {"file.holes": Quantity(value=0, unit="1")}
        numbers = {"file.holes": result.quantity()}
        if result.edge is not None:
            numbers["file.holes_below_edge"] = result.quantity()
            numbers["file.coder_edge"] = Quantity(value=result.edge.hz, unit="Hz")
            numbers["file.coder_edge_drop"] = Quantity(value=result.edge.drop_db, unit="dB")
        return numbers
