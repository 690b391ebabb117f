"""A plan as models: what other discs, other assumptions, other breaks and another order would make of a programme."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from qc.model.quantity import Model, Quantity
from qc.model.report import AudioFacts, DeliveryFacts, PluginFailure, RulesetFacts, Run

Fit = Literal["fits", "quiet", "too_quiet", "too_long", "not_compared"]


class FormatRow(Model):
    """One disc: whether the side fits, at which level, where it ends, what rules. `planned`: the one planned for.

    `quiet` fits at a level on the disc that warns, `too_quiet` at one that fails; `too_long` fits at no level.
    """

    disc: str
    """ "12in-33" """
    ruleset: str = ""
    planned: bool = False
    fit: Fit
    recommended: Quantity | None = None
    last_diameter: Quantity | None = None
    level_on_disc: Quantity | None = None
    ruling: str | None = None
    """CHECK/LIMIT, as in the report of a check"""
    reason: str = ""
    """why it was not compared"""


class AssumptionRow(Model):
    """One value of the chain changed by itself; `own` where it is what the ruleset has anyway."""

    key: str
    value: str
    own: bool = False
    recommended: Quantity | None = None
    change: Quantity | None = None
    """against the ruleset's own; None where either is no more than a bound"""
    last_diameter: Quantity | None = None
    ruling: str | None = None
    reason: str = ""
    """why there is no level"""


class PlannedTrack(Model):
    """A track of the programme, or a side without tracks: the side it came on, its number and title."""

    side: str
    number: int | None = None
    title: str = ""


class Reordering(Model):
    """A suggestion: another order of the tracks of one side, and what it wins; the order given where none wins."""

    tracks: tuple[PlannedTrack, ...]
    recommended: Quantity
    wins: Quantity
    ruling: str | None = None


class SplitSide(Model):
    """One side of a split."""

    tracks: tuple[PlannedTrack, ...]
    duration_s: float
    recommended: Quantity
    last_diameter: Quantity
    ruling: str | None = None
    reordered: Reordering | None = None


class SplitRow(Model):
    """The best breaks over so many sides; `worst` is the level of the side that holds the others down."""

    sides: tuple[SplitSide, ...]
    worst: Quantity


class Breaks(Model):
    """The programme of all sides in running order, broken into more and more sides as long as that wins level."""

    tracks: int
    exact: bool
    searched: int
    """stretches of tracks whose level was searched"""
    how: str
    splits: tuple[SplitRow, ...]


class PlannedLevel(Model):
    """One side on the planned disc at the level that `--level` asked for."""

    level: Quantity
    fits: bool
    """whether every limit that sets the level holds there, and the side is loud enough on the disc"""
    last_diameter: Quantity
    level_on_disc: Quantity | None = None
    broken: tuple[str, ...] = ()
    """the limits that do not, CHECK/LIMIT"""


class PlannedSide(Model):
    """One side as it was delivered; with a fault of its audio, nothing was planned."""

    id: str
    audio: AudioFacts
    fault: str = ""
    passes: int = 0
    duration_s: float | None = None
    """of what is cut"""
    loudness: Quantity | None = None
    declared: Quantity | None = None
    """the cut level asked for; a plan leaves it free"""
    at_level: PlannedLevel | None = None
    """the planned disc at the level of `--level`; None where none was asked for"""
    formats: tuple[FormatRow, ...] = ()
    sensitivity: tuple[AssumptionRow, ...] = ()
    reordered: Reordering | None = None


class PlanReport(Model):
    """A delivery planned."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    plugins: tuple[str, ...]
    disc: str
    """planned for: "12in-33" """
    ruleset: RulesetFacts
    delivery: DeliveryFacts
    level: str | None = None
    """what `--level` asked for, "-6 dB" """
    sides: tuple[PlannedSide, ...]
    breaks: Breaks | None = None
    no_breaks: str = ""
    """why there are none although they were asked for"""
    plugin_failures: tuple[PluginFailure, ...] = ()
    run: Run | None = None


def exit_code(report: PlanReport) -> int:
    """Give 0 when everything asked for was planned, 1 when audio is at fault, 3 when a plugin or the tool broke."""
    if report.plugin_failures:
        return 3
    return 1 if any(side.fault for side in report.sides) else 0
