"""The page of units of limits, measurements, curves and parameters, made from qc/model/quantity.py."""

from __future__ import annotations

from pathlib import Path

from qc.model.quantity import dimensions, show, tolerance, with_unit
from qc.rulebook.templates import filled

FOLDER = Path(__file__).with_name("templates")

NAMES = {
    "m": "metre", "cm": "centimetre", "mm": "millimetre", "um": "micrometre", "in": "inch", "m/s": "metre a second",
    "cm/s": "centimetre a second", "mm/s": "millimetre a second", "s": "second", "ms": "millisecond",
    "us": "microsecond", "min": "minute", "Hz": "hertz", "kHz": "kilohertz", "rad": "radian", "deg": "degree",
    "1": "a plain number: a count, a share from 0 to 1, a ratio", "%": "a hundredth of one",
    "g": "9.80665 m/s2, of a wall of the groove", "turn": "a turn of the disc", "bit": "a bit of a sample",
    "dB": "decibel, of a change or a difference", "dBFS": "decibel below a full-scale sample",
    "dBTP": "the same, of a true peak", "LU": "loudness unit, of a difference", "LUFS": "loudness",
}  # fmt: skip
"""Meaning of each unit."""
EXAMPLE = 2.0


def units_page() -> str:
    """Return the page of units; raises KeyError for a unit that has no name here."""
    rows = [
        (f"`{unit}`", NAMES[unit], dimension, _converted(unit, first, factor), show(EXAMPLE, unit))
        for dimension, units in dimensions().items()
        for first in [next(iter(units))]
        for unit, factor in units.items()
    ]
    slack = [f"{found:g} {unit}" for unit in NAMES if (found := tolerance(unit)) is not None]
    return filled("units.md", FOLDER, rows=rows, tolerances=" or ".join(slack))


def _converted(unit: str, first: str, factor: float) -> str:
    return "" if unit == first else with_unit(f"{factor:.6g}", first)
