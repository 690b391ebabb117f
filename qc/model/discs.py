"""The discs there are: sizes, speeds and the names of both together."""

from __future__ import annotations

from typing import Literal, get_args

DiscSize = Literal["12in", "10in", "7in"]
DiscSpeed = Literal["33", "45"]
"""Turns a minute; "33" is 33 1/3."""

NOMINAL_MM: dict[str, float] = {"12in": 304.8, "10in": 254.0, "7in": 177.8}
"""Diameter of a disc by its size, mm."""
SIZES: tuple[str, ...] = get_args(DiscSize)
SPEEDS: tuple[str, ...] = get_args(DiscSpeed)
DISCS = (("12in", "33"), ("12in", "45"), ("10in", "33"), ("10in", "45"), ("7in", "45"), ("7in", "33"))
"""Size and speed of every disc there is, in the order in which a house thinks of them."""


def disc_name(size: str, speed: str) -> str:
    """Name a disc in a word: "12in-33"."""
    return f"{size}-{speed}"
