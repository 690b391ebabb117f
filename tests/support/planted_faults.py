"""Faults that are planted in music, and how strong each must be before its check finds it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Place = tuple[float, float]
"""Start and end of a fault in file seconds."""


@dataclass(frozen=True)
class PlantedFault:
    """A fault that is planted at several strengths, and the check that must find it.

    `plant(samples, rate, strength, seed)` returns new samples (2, frames) and where the fault is; None where it is
    everywhere. The samples are a side of two tracks; it must not change those it is given.
    """

    name: str
    check: str
    strengths: Sequence[float]
    """ten, the weakest first"""
    unit: str
    plant: Callable[[Samples, int, float, int], tuple[Samples, Place | None]]
    exact: bool = False
    """the samples are written as they are, without the dither"""
    rates: tuple[int, ...] = ()
    """sample rates of the pieces it is tried on; all of them by default"""
    coding: str = "PCM_24"
    """samples of the file, as libsndfile names them"""

    def __post_init__(self) -> None:
        if len(self.strengths) != 10:
            raise ValueError(f"{self.name}: {len(self.strengths)} strengths; ten are needed, the weakest first")


@dataclass(frozen=True)
class FoundFault:
    """How often a fault was found at each strength, of how many pieces, and which other checks spoke because of it."""

    name: str
    check: str
    unit: str
    strengths: Sequence[float]
    found: Sequence[int]
    pieces: int
    others: Mapping[str, int] = field(default_factory=dict)
    """check id -> number of tries in which it had more findings than without the fault"""

    def from_share(self, share: float) -> float | None:
        """Return the weakest strength from which on, in all that are stronger, this share of the faults is found."""
        weakest = None
        for strength, found in reversed(list(zip(self.strengths, self.found, strict=True))):
            if found < share * self.pieces:
                break
            weakest = strength
        return weakest

    @property
    def half(self) -> str:
        """The strength from which on half of the faults are found, with its unit; "-" where none is strong enough."""
        return self._text(self.from_share(0.5))

    @property
    def every(self) -> str:
        """The strength from which on all of the faults are found, with its unit; "-" where none is strong enough."""
        return self._text(self.from_share(1.0))

    def _text(self, strength: float | None) -> str:
        return "-" if strength is None else f"{strength:g} {self.unit}"


FOUND = Path(__file__).resolve().parent.parent / "published" / "faults.json"
"""What make_faults.py found, by the name of the fault."""
CLEAN = FOUND.with_name("clean.json")
"""What make_clean.py found."""


def read_found() -> dict[str, FoundFault]:
    """Read what was found, in the order of checks and faults."""
    rows = json.loads(FOUND.read_text(encoding="utf-8")) if FOUND.exists() else []
    return {row["name"]: FoundFault(**row) for row in rows}


def write_found(found: Mapping[str, FoundFault]) -> None:
    """Write what was found, a fault a line."""
    rows = sorted(found.values(), key=lambda fault: (fault.check, fault.name))
    text = ",\n".join(json.dumps(asdict(row)) for row in rows)
    FOUND.write_text(f"[\n{text}\n]\n", encoding="utf-8")


def read_clean() -> dict[str, Any]:
    """Read the false alarms of the clean set; empty before the first run."""
    found: dict[str, Any] = json.loads(CLEAN.read_text(encoding="utf-8")) if CLEAN.exists() else {}
    return found
