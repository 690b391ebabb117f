"""Imperfections of a disc and a pickup as options of `sidegate listen`, and as its report names them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from qc.groove.playback.imperfections import Imperfections
from qc.model.errors import UsageError
from qc.model.listen import PlayedImperfection
from qc.model.quantity import convert, read, rounded
from qc.text.sanitize import shown

LONGEST = 40
"""Most characters of a written option that a sentence repeats."""


@dataclass(frozen=True, slots=True)
class ImperfectionOption:
    """An option: its range in the unit that it is stated in, its value of `Imperfections`, and the source's key."""

    field: Literal["vertical_error", "eccentricity", "noise", "facet"]
    si: str
    unit: str
    least: float
    greatest: float
    source: str

    def read(self, name: str, written: str) -> PlayedImperfection:
        """Read a value; raises UsageError, one sentence, for one that is no such quantity or out of range."""
        try:
            value = rounded(read(written, self.unit))
        except ValueError:
            value = math.nan
        if not self.least <= value <= self.greatest:
            raise UsageError(
                f'--{name} "{shown(written, LONGEST)}" cannot be played; write a value from {self.least:g} to '
                f"{self.greatest:g} {self.unit}"
            )
        return PlayedImperfection(name=name.replace("-", " "), value=value + 0.0, unit=self.unit, source=self.source)


OPTIONS = {
    "vertical-angle-error": ImperfectionOption("vertical_error", "rad", "deg", -20.0, 20.0, "P-3"),
    "off-centre": ImperfectionOption("eccentricity", "m", "mm", 0.01, 2.0, "P-7"),
    "surface-noise": ImperfectionOption("noise", "dB", "dB", -90.0, -20.0, "P-15"),
    "burnishing-facet": ImperfectionOption("facet", "m", "um", 0.5, 20.0, "C-5"),
}
"""Options by name. Their ranges are practice: well beyond what discs and pickups have."""


def read_imperfections(written: Mapping[str, str | None]) -> tuple[PlayedImperfection, ...]:
    """Read the options that are given, by their names; raises UsageError."""
    return tuple(option.read(name, text) for name, option in OPTIONS.items() if (text := written.get(name)) is not None)


def playback_imperfections(asked: tuple[PlayedImperfection, ...], rpm: float) -> Imperfections:
    """Return the imperfections of a playback on a disc that turns so often a minute."""
    values = {}
    for imperfection in asked:
        option = OPTIONS[imperfection.name.replace(" ", "-")]
        values[option.field] = convert(imperfection.value, imperfection.unit, option.si)
    return Imperfections(
        vertical_error=values.get("vertical_error", 0.0), eccentricity=values.get("eccentricity", 0.0), rpm=rpm,
        noise=values.get("noise"), facet=values.get("facet", 0.0),
    )  # fmt: skip
