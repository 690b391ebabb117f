"""Convert a side at its judged level to report models: geometry, tracks on the disc, levels."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence

from qc.groove.level.levels import Reached
from qc.groove.level.release import SIDES_OF_A_DISC, DiscDecision
from qc.groove.level.rows import LevelRow
from qc.groove.level.side_at_level import WorkedSide
from qc.judge.budget_report import budget
from qc.judge.tip_report import levels_by_tip
from qc.model.cutting_chain import SECTORS_A_SECOND, NamedTip
from qc.model.report import DiscLevel, Geometry, LevelAt, Levels, TrackPlace
from qc.plugin_base import Quantity


def geometry(worked: WorkedSide) -> Geometry:
    """Return the groove of the side at the judged level."""
    side = worked.search.side
    disc, span = side.chain.disc, side.span
    travel = worked.search.quantity("groove.travel", worked.judged).value
    return Geometry(
        size=disc.size,
        speed=disc.speed,
        rpm=disc.rpm,
        sectors_a_turn=disc.sectors_a_turn,
        outer_diameter_mm=disc.outer * 1e3,
        finishing_diameter_mm=disc.finishing * 1e3,
        span_start_s=span.start / SECTORS_A_SECOND,
        span_end_s=span.end / SECTORS_A_SECOND,
        travel_mm=travel,
        travel_least_mm=worked.search.quantity("groove.travel_least", worked.judged).value,
        last_diameter_mm=worked.search.quantity("groove.last_diameter", worked.judged).value,
        mean_pitch_um=travel * 1e3 * disc.sectors_a_turn / span.sectors,
        polarity=worked.polarity,
        overlaps=max(worked.search.cutting(worked.judged, p).spiral_path.overlaps for p in side.polarities),
        tracks=_tracks(worked),
    )


def _tracks(worked: WorkedSide) -> tuple[TrackPlace, ...]:
    """Return the place of each declared track on the disc."""
    span, radius = worked.search.side.span, worked.cutting.spiral_path.radius

    def radius_at(sector: int) -> float:
        return float(radius[min(max(sector, 0), span.sectors - 1)]) * 1e3

    return tuple(
        TrackPlace(
            number=track.number,
            title=track.title,
            start_s=float(track.start),
            end_s=float(track.end),
            start_radius_mm=radius_at(span.sector_at(float(track.start))),
            end_radius_mm=radius_at(math.ceil(track.end * SECTORS_A_SECOND) - 1 - span.start),
        )
        for track in span.tracks
    )


def disc_level(disc: DiscDecision, judged: Collection[str]) -> DiscLevel | None:
    """Return the release level of a disc of several sides, or None where no free side has one.

    `judged` are the sides with results in the report.
    """
    ruling, release = disc.ruling, disc.release
    if len(disc.sides) < SIDES_OF_A_DISC or ruling is None or release is None:
        return None
    deciding = {side.side: side.recommended.level for side in disc.deciding if side.recommended is not None}
    return DiscLevel(
        sides=tuple(deciding),
        release=release.quantity(),
        ruling=ruling.side,
        gives_away={side: Quantity(value=level - release.level, unit="dB") for side, level in deciding.items()},
        requested=tuple(side.side for side in disc.sides if not disc.is_free(side.requested)),
        not_measured=disc.unmeasured,
        no_level=disc.unfit,
        not_judged=tuple(side for side in deciding if side not in judged),
    )


def levels(worked: WorkedSide, tips: Sequence[NamedTip] = ()) -> Levels:
    """Return the levels, with the highest level that each limit alone allows, and the level under each of the tips."""
    ruling = worked.recommended.by
    decided = worked.decided
    release = None if decided is None else decided.release
    by_limit = _by_limit(worked)
    return Levels(
        judged=Quantity(value=worked.judged, unit="dB"),
        basis=None if decided is None else decided.basis,
        requested=_level(worked.requested),
        declared=_level(worked.declared),
        release=None if release is None else release.quantity(),
        recommended=worked.recommended.quantity(),
        clean=worked.clean.quantity(),
        edge=worked.edge.quantity(),
        policy=worked.policy.value,
        fails_at_recommended=_names(worked.failing),
        clean_of=_names(worked.mended),
        ruling=None if ruling is None else ruling.name,
        by_limit=by_limit,
        by_tip=levels_by_tip(worked, tips),
        budget=budget(worked, by_limit),
    )


def _names(rows: Iterable[LevelRow]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.name for row in rows))


def _level(value: float | None) -> Quantity | None:
    return None if value is None else Quantity(value=value, unit="dB")


def _by_limit(worked: WorkedSide) -> dict[str, LevelAt]:
    """Return the level of each limit by name; a limit on several measurements has the lowest of their levels."""
    lowest: dict[str, tuple[LevelRow, Reached]] = {}
    for row, reached in worked.by_limit.items():
        before = lowest.get(row.name)
        if before is None or reached.level < before[1].level:
            lowest[row.name] = (row, reached)
    return {name: _level_at(worked, row, reached) for name, (row, reached) in lowest.items()}


def _level_at(worked: WorkedSide, row: LevelRow, reached: Reached) -> LevelAt:
    return LevelAt(level=reached.quantity(), at=worked.place_of(row, reached.level))
