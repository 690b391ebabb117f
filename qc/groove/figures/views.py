"""The groove under the microscope: the edges of a turn and of its neighbours at one place, from the audio itself.

What is seen lies inside one sector, so that depth, which the model keeps for a sector, is one number a turn.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.cut import Cutting
from qc.groove.level.side_at_level import WorkedSide
from qc.groove.playback.side_passage import ExcerptReader
from qc.groove.signal.band_limit import motion_rate
from qc.groove.signal.wall_motion import Displacement
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.errors import SecondLookError
from qc.model.figures import GrooveTurn, View
from qc.model.quantity import At
from qc.plugin_base import Samples, Stream

Array = NDArray[np.float64]

LENGTH = 1.2e-3
"""m of groove that are seen, or a sector where that is shorter: three turns of usual pitch are a third as high."""
EDGE = 2
"""Points on either side of a sector that derivatives are read from."""
ROOT = float(np.sqrt(2.0))
AWAY: tuple[Literal[-1, 0, 1], ...] = (-1, 0, 1)


def _lateral(d: Samples) -> Array:
    return (d[0] + d[1]) / ROOT


def _vertical(d: Samples) -> Array:
    return (d[0] - d[1]) / ROOT


def _lateral_speed(d: Samples) -> Array:
    return np.abs(np.gradient(_lateral(d)))


def _vertical_speed(d: Samples) -> Array:
    return np.abs(np.gradient(_vertical(d)))


def _wall_speed(d: Samples) -> Array:
    return np.abs(np.gradient(d, axis=-1)).max(axis=0)


def _bend(d: Samples) -> Array:
    return np.abs(np.gradient(np.gradient(d, axis=-1), axis=-1)).max(axis=0)


def _swing(d: Samples) -> Array:
    return np.abs(_lateral(d))


def _either_way(d: Samples) -> Array:
    return np.abs(_vertical(d))


def _sunk(d: Samples) -> Array:
    return -_vertical(d)


def _outward(d: Samples) -> Array:
    return d[1]


WORST_AT: dict[str, Callable[[Samples], Array]] = {
    "groove.wall_velocity_peak": _wall_speed,
    "groove.lateral_velocity_peak": _lateral_speed,
    "groove.lateral_displacement_peak": _swing,
    "groove.lateral_displacement_10s": _swing,
    "groove.vertical_up_peak": _vertical,
    "groove.vertical_down_peak": _sunk,
    "groove.low_vertical_peak": _either_way,
    "groove.top_width_min": _vertical,
    "groove.depth_max": _sunk,
    "groove.land_min": _outward,
    "groove.lateral_slope_peak": _lateral_speed,
    "groove.lateral_speed_ratio_peak": _lateral_speed,
    "groove.lateral_slope_share": _lateral_speed,
    "groove.vertical_slope_peak": _vertical_speed,
    "groove.vertical_slope_share": _vertical_speed,
    "groove.acceleration_peak": _bend,
    "groove.drive_1s": _bend,
    "groove.drive_10s": _bend,
    "groove.tracing_ratio_peak": _bend,
    "groove.tracing_ratio_peak_5um": _bend,
    "groove.tracing_ratio_peak_18um": _bend,
    "groove.tracing_ratio_share": _bend,
    "groove.sibilance_share": _bend,
    **{f"groove.lateral_slope_{share}": _lateral_speed for share in ("time", "time_twice")},
    **{f"groove.vertical_slope_{share}": _vertical_speed for share in ("time", "time_twice")},
    **{f"groove.{name}_{share}": _bend for name in ("tracing_ratio", "sibilance") for share in ("time", "time_twice")},
}
"""By measurement the wave, of walls (2, n) as cut, that is greatest where it is worst; others have no such place."""


def view(
    look: ExcerptReader, stream: Stream, worked: WorkedSide, measure: str, at: At, finding: str
) -> View:  # fmt: skip
    """See the groove where a measurement is worst; `at` is its sector. Raises SecondLookError.

    `measure` is one of `WORST_AT`.
    """
    side = worked.search.side
    cutting = worked.search.cutting(worked.judged, at.polarity or side.polarities[0])
    assert at.start_s is not None  # it is the place of a sector
    sector = round(at.start_s * SECTORS_A_SECOND) - side.span.start
    walls = _walls(look, cutting, sector, motion_rate(stream.rate))
    worst = int(WORST_AT[measure](walls)[EDGE:-EDGE].argmax())
    return replace(_seen(look, stream, cutting, sector, walls, worst), findings=(finding,), measures=(measure,))


def view_at(look: ExcerptReader, stream: Stream, cutting: Cutting, second: float) -> View:
    """See the groove at a second of the file, which lies on the side; `worst` is its point. Raises SecondLookError."""
    rate, span = motion_rate(stream.rate), cutting.side.span
    sector = min(span.sector_at(second), span.sectors - 1)
    frame = round((second - (span.start + sector) / SECTORS_A_SECOND) * rate)
    walls = _walls(look, cutting, sector, rate)
    return _seen(look, stream, cutting, sector, walls, min(max(0, frame), rate // SECTORS_A_SECOND - 1))


def _seen(
    look: ExcerptReader, stream: Stream, cutting: Cutting, sector: int, walls: Samples, worst: int
) -> View:  # fmt: skip
    """See a stretch of a sector around its point `worst`, with the turns next to it; of no finding."""
    side, rate = cutting.side, motion_rate(stream.rate)
    size = rate // SECTORS_A_SECOND
    speed = float(cutting.speed[sector])
    count = min(size, 1 + round(LENGTH / speed * rate))
    first = min(max(0, worst - count // 2), size - count)
    middle = _middle(cutting, sector, first + count // 2, size)
    turns = []
    for away in AWAY:
        other = sector + away * side.chain.disc.sectors_a_turn
        if 0 <= other < side.span.sectors:
            whole = walls if away == 0 else _walls(look, cutting, other, rate)
            seen = whole[:, EDGE + first : EDGE + first + count]
            turns.append(GrooveTurn(away, *_edges(cutting, other, seen, first, size, middle)))
    narrowest = next(int(turn.width.argmin()) for turn in turns if turn.away == 0)
    return View(
        findings=(), measures=(), start_s=(side.span.start + sector) / SECTORS_A_SECOND + first / rate,
        rate=rate, speed=speed, radius=middle, polarity=cutting.polarity, worst=worst - first,
        narrowest=narrowest, tip_radius=side.chain.playback.tip_radius, turns=tuple(turns),
    )  # fmt: skip


def _walls(look: ExcerptReader, cutting: Cutting, sector: int, rate: int) -> Samples:
    """Return the walls of a sector as cut, m, (2, EDGE + frames + EDGE), processed again; 0 beyond the file."""
    side = cutting.side
    size = rate // SECTORS_A_SECOND
    first = (side.span.start + sector) * size - EDGE
    motion = look(first / rate, (first + size + 2 * EDGE) / rate, Displacement(side.chain.signal))
    walls = np.zeros((2, size + 2 * EDGE))
    ahead = max(0, -first)
    walls[:, ahead : ahead + motion.shape[1]] = motion
    return walls * (cutting.scale if cutting.polarity == "normal" else -cutting.scale)


def _middle(cutting: Cutting, sector: int, frame: int, size: int) -> float:
    """Radius of the middle of a groove at a frame of a sector, m: the carriage runs evenly through a sector."""
    before = cutting.side.chain.disc.outer / 2.0 if sector == 0 else cutting.radius_at(sector - 1)
    return before + (cutting.radius_at(sector) - before) * frame / size


def _edges(
    cutting: Cutting, sector: int, walls: Samples, first: int, size: int, middle: float
) -> tuple[Array, Array]:  # fmt: skip
    """Return the edges of a turn: the inner one is the left wall's alone, the outer the right wall's."""
    count = walls.shape[1]
    begin, end = (_middle(cutting, sector, first + frame, size) - middle for frame in (0, count))
    line = begin + (end - begin) * np.arange(count) / count
    depth = float(cutting.depth[sector])
    return line - depth + ROOT * walls[0], line + depth + ROOT * walls[1]


def views(
    look: ExcerptReader, stream: Stream, worked: WorkedSide, wanted: list[tuple[str, str, At]], most: int
) -> tuple[View, ...]:  # fmt: skip
    """See the places of findings, (fingerprint, measurement, sector), in their order, `most` of them at the most.

    What lies within one view is seen once. Where no more may be processed again, the views so far are returned.
    """
    seen: list[View] = []
    for finding, measure, at in wanted:
        if measure not in WORST_AT or at.start_s is None:
            continue
        same = next((index for index, shown in enumerate(seen) if _shows(shown, worked, measure, at)), None)
        if same is not None:
            shown = seen[same]
            seen[same] = replace(shown, findings=(*shown.findings, finding), measures=(*shown.measures, measure))
        elif len(seen) < most:
            try:
                seen.append(view(look, stream, worked, measure, at, finding))
            except SecondLookError:
                break
    return tuple(seen)


def _shows(shown: View, worked: WorkedSide, measure: str, at: At) -> bool:
    """Whether a view shows a place too: the same sector, polarity and kind of worst."""
    assert at.start_s is not None  # asked before
    polarity = at.polarity or worked.search.side.polarities[0]
    same_sector = int(shown.start_s * SECTORS_A_SECOND + 1e-6) == round(at.start_s * SECTORS_A_SECOND)
    return (
        same_sector
        and shown.polarity == polarity
        and any(WORST_AT[measure] is WORST_AT[name] for name in shown.measures)
    )
