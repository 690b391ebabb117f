"""Sides made without audio, sector by sector, or heard from samples in memory: for tests of the groove by itself."""

from dataclasses import replace

import numpy as np

from qc.audio.pipeline.plan import plan
from qc.audio.pipeline.process import process_source
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.level.levels import LevelSearch
from qc.groove.level.rows import LevelRow
from qc.groove.signal.sector_envelopes import Sectors
from qc.model.cutting_chain import Chain, Signal
from qc.plugin_api import Stream
from support.cells import with_cells

SECOND, TURN = 75, 135  # sectors
UM = 1e-6
CHAIN = Chain()
NAMES = (
    "d_max", "d_min", "lateral_max", "lateral_min", "vertical_max", "vertical_min", "lateral_v", "vertical_v", "v_abs",
    "a_abs", "a_square", "sibilance_a", "low_vertical",
)  # fmt: skip
WALLS = {"d_max", "d_min", "v_abs", "a_abs", "a_square", "sibilance_a"}
GRAVITY = 9.80665


def row(check, key, measure, op, warn, fail, unit, sets=None):
    return LevelRow(check, key, measure, op, warn, fail, unit, sets)


ROWS = (  # section 4 of the groove model
    row("groove.last-diameter-too-small", "least", "groove.last_diameter", ">=", 120.65, 115.0, "mm", "warn"),
    row("groove.top-width-too-narrow", "least", "groove.top_width_min", ">=", 30.0, 25.4, "um", "fail"),
    row("groove.cut-too-deep", "greatest", "groove.depth_max", "<=", 110.0, 127.0, "um", "fail"),
    row("groove.slope-too-steep", "lateral_share", "groove.lateral_slope_share", "<=", 0.02, 0.10, "1", "fail"),
    row("groove.slope-too-steep", "vertical_share", "groove.vertical_slope_share", "<=", 0.01, 0.05, "1", "fail"),
    row("groove.curvature-too-tight", "share", "groove.tracing_ratio_share", "<=", 0.02, 0.10, "1", "fail"),
    row("hf.sibilance-or-cymbals-too-strong", "share", "groove.sibilance_share", "<=", 0.10, 0.30, "1", "fail"),
    row("groove.drive-too-high", "in_1s", "groove.drive_1s", "<=", 200.0, 400.0, "g", "fail"),
    row("groove.drive-too-high", "in_10s", "groove.drive_10s", "<=", 150.0, 300.0, "g", "fail"),
    row("groove.too-little-land", "least", "groove.land_min", ">=", 13.0, 0.0, "um", "fail"),
    row("groove.slope-too-steep", "peak", "groove.lateral_slope_peak", "<=", 2.0, None, "1"),
    row("groove.slope-too-steep", "velocity", "groove.lateral_velocity_peak", "<=", 50.0, None, "cm/s"),
    row("groove.curvature-too-tight", "peak", "groove.tracing_ratio_peak", "<=", 4.0, None, "1"),
    row("groove.drive-too-high", "peak", "groove.acceleration_peak", "<=", 5000.0, None, "g"),
    row("stereo.low-end-out-of-phase", "excursion", "groove.low_vertical_peak", "<=", 40.0, 60.0, "um"),
)


def envelopes(sectors, **values):
    """Envelopes of a groove that stands still but for the values given, SI, which hold at a cut level of 0 dB."""
    unity = CHAIN.cut.unity_velocity
    kept = {name: np.zeros((2, sectors) if name in WALLS else sectors) for name in NAMES}
    for name, value in values.items():
        kept[name][...] = np.asarray(value) / (unity**2 if name == "a_square" else unity)
    return with_cells(Signal(), **kept)


def side(kept, chain=CHAIN, tracks=()):
    return SideGeometry(chain, Span(0, kept.sectors, tuple(tracks)), kept)


def swinging(wall):
    """Envelopes of a lateral swing: each wall moves by so many m either way, (sectors,)."""
    return {"d_max": wall, "d_min": -wall, "lateral_max": np.sqrt(2.0) * wall, "lateral_min": -np.sqrt(2.0) * wall}


def search(kept, chain=CHAIN, rows=ROWS, tracks=()):
    return LevelSearch(side(kept, chain, tracks), rows)


def on(sectors, *stretches):
    """1 in the stretches (start, end) or (start, end, value), 0 elsewhere; (sectors,)."""
    x = np.zeros(sectors)
    for start, end, *value in stretches:
        x[start:end] = value[0] if value else 1.0
    return x


def with_cut(chain=CHAIN, **changes):
    return replace(chain, cut=replace(chain.cut, **changes))


class Memory:
    """Samples (2, frames) as a source, in blocks of a second."""

    def __init__(self, samples, rate):
        self.stream = Stream("side:A", rate, 2, samples.shape[1])
        self._pieces = [samples[:, i : i + rate] for i in range(0, samples.shape[1], rate)]
        self.blocks = len(self._pieces)

    def open(self):
        pass

    def close(self):
        pass

    def read(self):
        piece = self._pieces.pop(0).copy()
        piece.flags.writeable = False
        return [piece]


def heard(samples, rate, chain=CHAIN):
    """The sector envelopes of samples, by the pass that every side goes through."""
    need = Sectors(chain.signal)
    return process_source(Memory(np.ascontiguousarray(samples), rate), plan([need]), workers=1).results[need]
