"""The replay tips that a ruleset names: kinds of tip with their radii, each with its source."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from qc.delivery.fields import InputModel, Line
from qc.model.cutting_chain import NamedTip
from qc.model.quantity import read, rounded
from qc.text.sanitize import misplaced, shown

LEAST, GREATEST = 1.0, 50.0
"""um; no stylus is slimmer, and a rounder one enters no groove."""


def _radius(text: str) -> str:
    try:
        value = read(text, "um")
    except ValueError as why:
        said = str(why).partition(", such as")[0]
        raise ValueError(f"{said}; write a number and its unit, um") from None
    if not LEAST <= value <= GREATEST:
        raise ValueError(
            f'"{shown(text)}" is out of bounds; it must be {LEAST:g} to {GREATEST:g} um (no stylus is slimmer, and a '
            "rounder one enters no groove)"
        )
    return text


Radius = Annotated[Line, AfterValidator(_radius)]


class SphericalEntry(InputModel):
    """A tip with one radius all around."""

    radius: Radius = Field(examples=["18 um"])
    source: Line


class EllipticalEntry(InputModel):
    """A tip with a small radius along the groove, which traces it, and a greater one across it."""

    along: Radius = Field(examples=["8 um"])
    across: Radius = Field(examples=["18 um"])
    source: Line

    @model_validator(mode="after")
    def _is_slimmer_along(self) -> Self:
        _refuse_wide(self.along, self.across)
        return self


class LineContactEntry(InputModel):
    """A tip that touches the walls along lines; only its radius along the groove traces it."""

    along: Radius = Field(examples=["5 um"])
    across: Radius | None = None
    source: Line

    @model_validator(mode="after")
    def _is_slimmer_along(self) -> Self:
        if self.across is not None:
            _refuse_wide(self.along, self.across)
        return self


def _refuse_wide(along: str, across: str) -> None:
    """Refuse a tip that is rounder along the groove than across it, as one with the two exchanged is."""
    if read(along, "um") >= read(across, "um"):
        sentence = f"the radius along the groove, {shown(along)}, must be less than that across it, {shown(across)}"
        raise misplaced(sentence, ("along",), ("across",))


class TipsEntry(InputModel):
    """The named tips; what a ruleset does not name comes from the one it extends."""

    spherical: SphericalEntry | None = None
    elliptical: EllipticalEntry | None = None
    line_contact: LineContactEntry | None = Field(default=None, alias="line contact")


def tips_of(entry: TipsEntry | None) -> tuple[NamedTip, ...]:
    """Return the named tips in m, the roundest kind first; none where a ruleset has no table."""
    found = []
    for name, tip in _named(entry):
        if isinstance(tip, SphericalEntry):
            found.append(NamedTip(name, _metres(tip.radius), _metres(tip.radius)))
        else:
            found.append(NamedTip(name, _metres(tip.along), None if tip.across is None else _metres(tip.across)))
    return tuple(found)


def tip_rows(entry: TipsEntry | None) -> dict[str, dict[str, str]]:
    """Return the named tips as reports show them, name -> {"value": "8 x 18 um", "source": ...}."""
    sources = {name: tip.source for name, tip in _named(entry)}
    return {tip.name: {"value": tip.size, "source": sources[tip.name]} for tip in tips_of(entry)}


def _named(entry: TipsEntry | None) -> list[tuple[str, SphericalEntry | EllipticalEntry | LineContactEntry]]:
    if entry is None:
        return []
    tips = {"spherical": entry.spherical, "elliptical": entry.elliptical, "line contact": entry.line_contact}
    return [(name, tip) for name, tip in tips.items() if tip is not None]


def _metres(written: str) -> float:
    """Return a radius in m, rounded as the chain's is."""
    return rounded(read(written, "m"))
