"""A worked side followed sector by sector, in the units of reports: what every picture along a side is drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import read_only
from qc.groove.geometry.cut import MEASURES, SWING, Cutting
from qc.groove.geometry.spiral import take
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.traces import DRIVES, OF_SECTORS, SHARES, Trace
from qc.groove.level.events import trace_of_each
from qc.groove.level.side_at_level import WorkedSide

Array = NDArray[np.float64]

RADIUS, PITCH, DEMAND, WIDTH = "groove.radius", "groove.pitch", "groove.pitch_demanded", "groove.plain_width"
UNITS = {RADIUS: "mm", PITCH: "um", DEMAND: "um", WIDTH: "um"}
"""Curves without a worst value: radius after a sector, pitch given and demanded, top width without modulation."""


COLUMNS: Mapping[str, str] = {
    "radius [mm]": "groove.radius",
    "pitch demanded [um]": "groove.pitch_demanded",
    "pitch given [um]": "groove.pitch",
    "land [um]": "groove.land_min",
    "top width [um]": "groove.top_width_min",
    "depth [um]": "groove.depth_max",
    "lateral slope [1]": "groove.lateral_slope_peak",
    "vertical slope [1]": "groove.vertical_slope_peak",
    "tracing ratio [1]": "groove.tracing_ratio_peak",
    "wall velocity [cm/s]": "groove.wall_velocity_peak",
    "lateral velocity [cm/s]": "groove.lateral_velocity_peak",
    "acceleration [g]": "groove.acceleration_peak",
    "drive over 1 s [g]": "groove.drive_1s",
    "drive over 10 s [g]": "groove.drive_10s",
    "playback residual [dB]": "groove.playback_residual",
    "top loss [dB]": "groove.top_loss",
}
"""Header of a table with its unit -> name of the trace."""


@dataclass(frozen=True)
class CurveSpec:
    """A curve of a panel: its name, its label, and whether its least values are the bad ones."""

    name: str
    label: str
    least: bool = False


@dataclass(frozen=True)
class PanelSpec:
    """The description of a panel: curves of one unit."""

    title: str
    curves: tuple[CurveSpec, ...]
    marks: bool = False
    """whether the marks between tracks, wider than all else, may exceed the height"""


PANELS = (
    PanelSpec("Pitch", (CurveSpec(PITCH, "given"), CurveSpec(DEMAND, "demanded")), marks=True),
    PanelSpec("Land left between turns", (CurveSpec("groove.land_min", "land", least=True),), marks=True),
    PanelSpec("Top width of the groove", (CurveSpec("groove.top_width_min", "least width", least=True),)),
    PanelSpec("Depth of the groove", (CurveSpec("groove.depth_max", "greatest depth"),)),
    PanelSpec(
        "Slope of the groove, 1 = the cutter's back edges touch",
        (CurveSpec("groove.lateral_slope_peak", "lateral"), CurveSpec("groove.vertical_slope_peak", "vertical")),
    ),
    PanelSpec(
        "Tracing ratio, 1 = the tip bridges the trough", (CurveSpec("groove.tracing_ratio_peak", "tip over curve"),)
    ),
    PanelSpec(
        "What playback adds from 2 to 15 kHz, each second; estimated but for the worst",
        (CurveSpec("groove.playback_residual", "over the programme"),),
    ),
    PanelSpec("Treble lost in playback, 10 to 15 kHz", (CurveSpec("groove.top_loss", "each second"),)),
    PanelSpec("High-frequency drive", (CurveSpec("groove.drive_1s", "over 1 s"),)),
)
"""The pictures of the traces of the groove, in their order; curves of plugins follow them."""


def along(worked: WorkedSide) -> dict[str, Array]:
    """Follow a side at the judged level: name -> (sectors,), of measurements the worse wall and polarity.

    A value over a window of seconds is placed at the middle of the window, and is NaN within half of one of the
    ends. The worst of each is the number that the report gives. Playback has one value a second.
    """
    found = {
        name: _worse([trace.sign for trace in traces], [_placed(trace) for trace in traces]) * MEASURES[name].factor
        for name in (*OF_SECTORS, *DRIVES, *SHARES, *TIMES, SWING)
        if (traces := list(trace_of_each(worked.search, worked.judged, name).values()))
    }
    cutting, playback = worked.cutting, worked.playback
    found |= {name: playback.along(name, cutting.side.span.sectors) for name in playback.by_name}
    spiral = cutting.spiral
    found[RADIUS], found[PITCH] = 1e3 * spiral.radius, 1e6 * spiral.pitch
    found[DEMAND], found[WIDTH] = 1e6 * demanded(cutting), 2e6 * cutting.depth
    return found


def _worse(signs: list[float], rows: list[Array]) -> Array:
    """Take the worst of several rows, sector by sector."""
    values = np.vstack(rows)
    worst: Array = values.max(axis=0) if signs[0] > 0.0 else values.min(axis=0)
    return worst


def _placed(trace: Trace) -> Array:
    """Put windows at their middles."""
    if trace.window == 1:
        return trace.values
    sectors = trace.walls.shape[1]
    placed = np.full((len(trace.values), sectors), np.nan)
    first = trace.window // 2
    placed[:, first : first + trace.values.shape[1]] = trace.values
    return placed


def demanded(cutting: Cutting) -> Array:
    """Pitch that each sector demands, land with it, m, (sectors,): what the carriage is asked for."""
    walls, cut, disc = cutting.spread, cutting.side.chain.cut, cutting.side.chain.disc
    plain = cut.top_width / 2.0
    deepest = cut.nominal_depth if cut.depth == "variable" else plain
    taken = np.empty(cutting.side.span.sectors)
    take(
        read_only(walls.right), read_only(walls.left), walls.up_near, walls.unity, cutting.gain,
        cut.keep_width / 2.0, plain, deepest, disc.sectors_a_turn, taken,
    )  # fmt: skip
    return taken + cut.land
