"""A plugin as a house might write it: a check of the delivery's texts, with a parameter of each type."""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Literal

from pydantic import Field

from qc import hookimpl
from qc.plugin_api import Check, Model, Pattern, Unit


class Case(Enum):
    """The letters that titles may have."""

    ANY = "any"
    UPPER = "upper case"


class Catalogue(Model):
    """The house's own conventions."""

    pattern: Pattern = Field(description="What a catalogue number looks like.")
    required: bool = Field(description="Whether a delivery without a catalogue number fails.")
    grade: Literal["warn", "fail"] = Field(description="How grave a number of another form is.")
    shortest: Annotated[float, Unit("s")] = Field(ge=0.0, description="Shortest track of its own.")
    letters: Case = Field(default=Case.ANY, description="Letters of the titles.")
    most_tracks: int = Field(default=20, description="Most tracks of a side.")
    forbidden: str | None = Field(default=None, description="A word that no title may hold.")


class CatalogueNumber(Check[Catalogue]):
    """The texts of a delivery do not follow the house's conventions."""

    id = "house.catalogue-number"
    title = "Catalogue number of another form"
    why = "The number is engraved in the run-out."
    how = "The catalogue number of the delivery, matched with the house's pattern."
    remedy = "Ask for the number."
    Limits = Catalogue

    def evaluate(self, ctx):
        number = ctx.delivery.get("catalogue")
        if number is None:
            if self.limits.required:
                yield ctx.found("fail", "There is no catalogue number", measured="none", field=())
        elif not self.limits.pattern.matches(number):
            yield ctx.found(self.limits.grade, f'The catalogue number is "{number}"', measured=number, field=())
        for index, track in enumerate(ctx.declared["tracks"]):
            field = ("tracks", index, "title")
            title = track["title"]
            if track["end"] - track["start"] < self.limits.shortest:
                yield ctx.found("warn", f'"{title}" is short', measured=title, field=field)
            if self.limits.letters is Case.UPPER and title != title.upper():
                yield ctx.found("warn", f'"{title}" has small letters', measured=title, field=field)
            if self.limits.forbidden and Pattern(self.limits.forbidden).matches(title):
                yield ctx.found("warn", f'"{title}" is no title', measured=title, field=field)
        if len(ctx.declared["tracks"]) > self.limits.most_tracks:
            yield ctx.found("warn", "There are many tracks", measured="tracks")


CHECK = CatalogueNumber.id
SOURCE = 'source: "house: label guide 4"'
STATED = {
    "pattern": f'{{value: "^QH-[0-9]{{3}}$", {SOURCE}}}',
    "required": f"{{value: true, {SOURCE}}}",
    "grade": f"{{value: fail, {SOURCE}}}",
    "shortest": f"{{value: 100 ms, {SOURCE}}}",
}
"""parameters that a ruleset must state, as they are written"""


def put(houses, place="house.yaml", parent="disc-12in-33@1.0.0", **entries):
    """Write house@1.0.0 with the parameters, each on a line of its own from line 7 on; return the path."""
    lines = "".join(f"    {key}: {entry}\n" for key, entry in {**STATED, **entries}.items() if entry)
    return houses.put_at(place, "house@1.0.0", f"limits:\n  {CHECK}:\n{lines}", parent)


@hookimpl
def qc_checks():
    """Return the check."""
    return [CatalogueNumber]
