"""The place that was asked for on a side as cut: its positions, its neighbours, and the groove there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from qc.audio.excerpts import Excerpts
from qc.groove.figures.views import view_at
from qc.groove.geometry.cut import Cutting
from qc.groove.geometry.position import SpiralPositions
from qc.groove.geometry.span import Span
from qc.groove.level.side_at_level import WorkedSide
from qc.model.errors import SecondLookError, UsageError
from qc.model.figures import View
from qc.model.quantity import clock
from qc.model.where import GrooveThere, NeighbourTurn, SidePosition, WhereAsked, WhereFound, WhereReport
from qc.where.request import WhereRequest

WRITTEN_M, WRITTEN_S = 5e-6, 1e-3
"""Radius in m and time in s by which a place may lie beyond an end, since reports round to 0.01 mm and 1 ms."""


class Names(NamedTuple):
    """The names that a report repeats."""

    tool: str
    ruleset: str
    title: str


@dataclass(frozen=True, eq=False)
class PlaceFinder:
    """A side as cut at a level in dB, on which places are found."""

    worked: WorkedSide
    level: float

    @property
    def cuttings(self) -> list[Cutting]:
        """The side as cut, once for each polarity that is judged."""
        search = self.worked.search
        return [search.cutting(self.level, polarity) for polarity in search.side.polarities]

    def found(self, request: WhereRequest, names: Names, look: Excerpts) -> WhereFound:
        """Find a place; raises UsageError where the side has none there."""
        search = self.worked.search
        cutting = search.cutting(self.level, search.worst("groove.travel", self.level)[1])
        span, as_cut, least = cutting.side.span, SpiralPositions.as_cut(cutting), SpiralPositions.least(cutting)
        second = _second(request, as_cut, self.level)
        with_least = second if request.radius is None else least.second_at(as_cut.radius_at(second))
        view, no_view = _view(look, cutting, second)
        report = WhereReport(
            **names._asdict(),
            side=request.side,
            level_db=self.level + 0.0,
            polarity=cutting.polarity,
            asked=_asked(request),
            place=_position(as_cut, second, span),
            least_travel=None if with_least is None else _position(least, with_least, span),
            neighbours=tuple(
                NeighbourTurn(away=away, position=_position(as_cut, there, span))
                for away in (-1, 1)
                if as_cut.start_s <= (there := second + away * as_cut.turn_s) <= as_cut.end_s
            ),
            groove=self._groove(_sector(second, span)),
            no_view=no_view,
        )
        return WhereFound(report, view)

    def _groove(self, sector: int) -> GrooveThere:
        """Return the numbers of a sector, each the worse of the polarities."""
        cuttings, turn = self.cuttings, self.worked.search.side.chain.disc.sectors_a_turn
        envelopes, chain = self.worked.search.side.envelopes, self.worked.search.side.chain
        lands = np.array([cutting.spiral.land for cutting in cuttings]).min(axis=0)
        after = sector + turn
        wall = max(cutting.scale * float(envelopes.v_abs[:, sector].max()) for cutting in cuttings)
        over = wall * math.sqrt(2.0) / chain.cut.reference_velocity  # a wall takes 1/sqrt2 of a lateral velocity (L-6)
        return GrooveThere(
            top_width_um=1e6 * min(float(cutting.top_width[sector]) for cutting in cuttings),
            depth_um=1e6 * max(float(cutting.greatest_depth[sector]) for cutting in cuttings),
            land_before_um=1e6 * float(lands[sector]) if sector >= turn else None,
            land_after_um=1e6 * float(lands[after]) if after < len(lands) else None,
            lateral_slope=max(float(cutting.lateral_slope[sector]) for cutting in cuttings),
            vertical_slope=max(float(cutting.vertical_slope[sector]) for cutting in cuttings),
            tracing_ratio=max(float(cutting.tracing(envelopes.a_abs)[:, sector].max()) for cutting in cuttings),
            wall_velocity_cm_s=1e2 * wall,
            level_db=20.0 * math.log10(over) if over > 0.0 else None,
        )


def _second(request: WhereRequest, spiral: SpiralPositions, level: float) -> float:
    """Return the file second of a place on the spiral as cut; raises UsageError where it has none there."""
    side = request.side
    if request.radius is not None:
        first, last = float(spiral.radius[0]), spiral.last_radius
        if not last - WRITTEN_M <= request.radius <= first + WRITTEN_M:
            raise UsageError(
                f"--radius: {1e3 * request.radius:g} mm lies outside the groove of side {side}, which runs from "
                f"{1e3 * first:.2f} to {1e3 * last:.2f} mm at {level:+.1f} dB"
            )
        second = spiral.second_at(min(max(request.radius, last), first))
        assert second is not None  # it lies between the ends
        return second
    if request.second is not None:
        if not spiral.start_s - WRITTEN_S <= request.second <= spiral.end_s + WRITTEN_S:
            raise UsageError(
                f"--time: {clock(request.second)} lies outside the programme of side {side}, which is cut from "
                f"{clock(spiral.start_s)} to {clock(spiral.end_s)}"
            )
        return min(max(request.second, spiral.start_s), spiral.end_s)
    assert request.turn is not None  # one of the three is given
    second = spiral.second_of(request.turn, request.angle)
    if second > spiral.end_s + WRITTEN_S:
        turn, angle = spiral.last_turn
        raise UsageError(
            f"--turn: turn {request.turn} at {request.angle:g} deg lies beyond the last one of side {side}, which is "
            f"turn {turn} and ends at {angle:.1f} deg"
        )
    return min(second, spiral.end_s)


def _view(look: Excerpts, cutting: Cutting, second: float) -> tuple[View | None, str]:
    """See the groove at a second; or return the reason why it cannot be seen."""
    try:
        return view_at(look, look.stream, cutting, second), ""
    except SecondLookError as why:
        return None, str(why)


def _asked(request: WhereRequest) -> WhereAsked:
    return WhereAsked(
        radius_mm=None if request.radius is None else 1e3 * request.radius,
        time_s=request.second,
        turn=request.turn,
        angle_deg=None if request.turn is None else request.angle,
    )


def _sector(second: float, span: Span) -> int:
    """Return the sector of the span that a second lies in; the last one at its end."""
    return min(span.sector_at(second), span.sectors - 1)


def _position(spiral: SpiralPositions, second: float, span: Span) -> SidePosition:
    turn, angle = spiral.turn_at(second)
    number = span.track_at(_sector(second, span))
    begun = next(
        (float(track.start) for track in span.tracks if track.number == number and track.start <= second), None
    )
    return SidePosition(
        time_s=second, radius_mm=1e3 * spiral.radius_at(second), turn=turn, angle_deg=angle, track=number,
        track_time_s=None if begun is None else second - begun,
    )  # fmt: skip
