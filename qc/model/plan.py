"""Models of a plan: the level of a programme on other discs, by other assumptions, breaks and running orders."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer

from qc.model.quantity import Model, Quantity, without_empty
from qc.model.report import AudioFacts, DeliveryFacts, PluginFailure, RulesetFacts, Run

Fit = Literal["fits", "quiet", "too_quiet", "too_long", "not_compared"]


class FormatRow(Model):
    """A side on one disc: whether it fits, at which level, where it ends, which limit rules.

    `planned` marks the disc that the plan is for.

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
    """why the disc was not compared"""


class AssumptionRow(Model):
    """The level with one value of the chain changed; `own` marks the ruleset's own value."""

    key: str
    value: str
    name: str = ""
    """name of the tip with that radius; not in the JSON where the ruleset names none"""
    size: str = ""
    """size of that tip, along the groove and across it: "8 x 18 um"; in the JSON with its name"""
    own: bool = False
    recommended: Quantity | None = None
    change: Quantity | None = None
    """difference from the level at the ruleset's own value; None where either level is only a bound"""
    last_diameter: Quantity | None = None
    ruling: str | None = None
    reason: str = ""
    """why there is no level"""

    @model_serializer(mode="wrap")
    def _leave_out_no_name(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return without_empty(without_empty(handler(self), "name"), "size")


class PlannedTrack(Model):
    """A track of the programme, or a side without tracks: the side it was delivered on, its number and title."""

    side: str
    number: int | None = None
    title: str = ""


class Reordering(Model):
    """The best order found for the tracks of one side and its gain in level; the given order where none is better."""

    tracks: tuple[PlannedTrack, ...]
    recommended: Quantity
    wins: Quantity
    ruling: str | None = None


class SplitSide(Model):
    """One side of a suggested split of the programme."""

    tracks: tuple[PlannedTrack, ...]
    duration_s: float
    recommended: Quantity
    last_diameter: Quantity
    ruling: str | None = None
    reordered: Reordering | None = None


class SplitRow(Model):
    """The best breaks for one number of sides; `worst` is the lowest recommended level among them."""

    sides: tuple[SplitSide, ...]
    worst: Quantity


class Breaks(Model):
    """The programme of all sides in running order, split into more and more sides as long as that raises the level."""

    tracks: int
    exact: bool
    searched: int
    """number of track sequences whose level was searched"""
    how: str
    splits: tuple[SplitRow, ...]


class PlannedLevel(Model):
    """One side on the planned disc at the level of `--level`."""

    level: Quantity
    fits: bool
    """whether every limit that sets the level is kept, and the side is loud enough on the disc"""
    last_diameter: Quantity
    level_on_disc: Quantity | None = None
    broken: tuple[str, ...] = ()
    """the limits that are not kept, CHECK/LIMIT"""


class PlannedSide(Model):
    """One delivered side; where `fault` names a fault of its audio, it has no plan."""

    id: str
    audio: AudioFacts
    fault: str = ""
    passes: int = 0
    duration_s: float | None = None
    """length of the part that is cut"""
    loudness: Quantity | None = None
    declared: Quantity | None = None
    """`cut_level` of the delivery file, which a plan does not apply"""
    at_level: PlannedLevel | None = None
    """the planned disc at the level of `--level`; None without that option"""
    formats: tuple[FormatRow, ...] = ()
    sensitivity: tuple[AssumptionRow, ...] = ()
    reordered: Reordering | None = None


class PlanReport(Model):
    """The plan of a delivery."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    plugins: tuple[str, ...]
    disc: str
    """the planned disc, "12in-33" """
    ruleset: RulesetFacts
    delivery: DeliveryFacts
    level: str | None = None
    """the value of `--level`, "-6 dB" """
    sides: tuple[PlannedSide, ...]
    breaks: Breaks | None = None
    no_breaks: str = ""
    """why there are none although they were requested"""
    plugin_failures: tuple[PluginFailure, ...] = ()
    plugin_warnings: tuple[PluginFailure, ...] = ()
    """plugins that did not load and that nothing in this plan needs"""
    run: Run | None = None


def exit_code(report: PlanReport) -> int:
    """Return 0 when every side was planned, 1 when audio is at fault, 3 when a plugin or the tool failed."""
    if report.plugin_failures:
        return 3
    return 1 if any(side.fault for side in report.sides) else 0
