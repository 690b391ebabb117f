"""Models of what `sidegate where` finds: a place on a side, by second, by radius, and by turn and angle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

from pydantic import Field

from qc.model.quantity import Model, Polarity

if TYPE_CHECKING:
    from qc.model.figures import View


class WhereAsked(Model):
    """The place as it was asked for: a radius, a time, or a turn with an angle; the others are None."""

    radius_mm: float | None = None
    time_s: float | None = None
    turn: int | None = None
    angle_deg: float | None = None


class SidePosition(Model):
    """A position on a side."""

    time_s: float
    """seconds of the side's audio"""
    radius_mm: float
    """of the middle of the groove, about which it swings"""
    turn: int
    """counted from 1; the first begins with the programme"""
    angle_deg: float
    """from the beginning of the turn, the way the stylus runs"""
    track: int | None
    """number of the track, or of the last before it; None without tracks"""
    track_time_s: float | None
    """seconds since the beginning of that track"""


class NeighbourTurn(Model):
    """The position a whole turn away, at the same angle."""

    away: Literal[-1, 1]
    """-1: the turn before, nearer to the rim; 1: the turn after, nearer to the label"""
    position: SidePosition


class GrooveThere(Model):
    """The groove at a place: the worst of the 1/75 s around it and of the polarities that are judged."""

    top_width_um: float
    """least top width"""
    depth_um: float
    """greatest depth"""
    land_before_um: float | None
    """least land to the turn before; None in the first turn"""
    land_after_um: float | None
    """least land to the turn after; None in the last turn"""
    lateral_slope: float
    """1: the cutter's back edges touch the wall"""
    vertical_slope: float
    tracing_ratio: float
    """tip radius over the radius of the groove's curve"""
    wall_velocity_cm_s: float
    """peak, of the greater wall"""
    level_db: float | None
    """the same over that of the alignment tone; None where nothing moves"""


class WhereReport(Model):
    """A place on a side, its neighbours, and the groove there."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    ruleset: str
    """name and version"""
    title: str
    """of the delivery"""
    side: str
    level_db: float
    """cut level"""
    polarity: Polarity
    """the one that travels further"""
    asked: WhereAsked
    place: SidePosition
    """by the spiral as cut"""
    least_travel: SidePosition | None
    """the same radius, or the same second, by the least possible spiral; None where that ends before the radius"""
    neighbours: tuple[NeighbourTurn, ...]
    groove: GrooveThere
    no_view: str = ""
    """reason why the groove there cannot be drawn; empty where it can"""


class WhereFound(NamedTuple):
    """A place on a side, and the view of the groove there; None where the audio could not be read again."""

    report: WhereReport
    view: View | None
