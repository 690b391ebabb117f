"""The groove at a cut level as the arrays that plugins measure: see `qc.model.groove.Groove`."""

from __future__ import annotations

import copy
from collections.abc import Iterable
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.samples.closed import read_only_copy
from qc.groove.geometry.cut import Cutting
from qc.groove.geometry.side import SideGeometry
from qc.groove.signal.programme import ProgrammeBounds
from qc.model.cutting_chain import SECTORS_A_SECOND, STANDARD_GRAVITY
from qc.model.groove import Groove

Array = NDArray[np.float64]


def groove_at(side: SideGeometry, level: float, programme: ProgrammeBounds) -> Groove:
    """Return the groove of a side at a cut level in dB, of the worse polarity where both are judged."""
    cuttings = [Cutting(side, level, polarity) for polarity in side.polarities]
    spirals = [cutting.spiral for cutting in cuttings]
    for cutting, spiral in zip(cuttings, spirals, strict=True):
        cutting.spiral_path = spiral.path
    travels = [spiral.travel for spiral in spirals]
    further = travels.index(max(travels))
    cutting, spiral, span = cuttings[further], spirals[further], side.span
    sectors = np.arange(span.sectors)
    there = programme.by_parts(span.end, 1.0 / SECTORS_A_SECOND)[span.start :]
    return Groove(
        level_db=level,
        chain=side.chain,
        polarity=cutting.polarity,
        start_s=span.start / SECTORS_A_SECOND,
        end_s=min(span.end / SECTORS_A_SECOND, span.file_end_s),
        tracks=span.tracks,
        programme=read_only_copy(there),
        mark=read_only_copy(side.marks > 0.0),
        time_s=read_only_copy((span.start + sectors) / SECTORS_A_SECOND),
        radius_mm=read_only_copy(1e3 * spiral.radius),
        turn=read_only_copy(sectors / side.chain.disc.sectors_a_turn),
        pitch_um=read_only_copy(1e6 * spiral.pitch),
        land_um=read_only_copy(1e6 * _least(spiral.land for spiral in spirals)),
        top_width_um=read_only_copy(1e6 * _least(cutting.top_width for cutting in cuttings)),
        depth_um=read_only_copy(1e6 * _greatest(cutting.greatest_depth for cutting in cuttings)),
        lateral_slope=read_only_copy(_greatest(cutting.lateral_slope for cutting in cuttings)),
        vertical_slope=read_only_copy(_greatest(cutting.vertical_slope for cutting in cuttings)),
        tracing_ratio=read_only_copy(_greatest(cutting.tracing(side.envelopes.a_abs) for cutting in cuttings)),
        drive_g=read_only_copy(cutting.scale * np.sqrt(side.envelopes.a_square.max(axis=0)) / STANDARD_GRAVITY),
    )


def groove_copy(groove: Groove) -> Groove:
    """Return a copy for one reader, which shares no memory with those of others."""
    arrays: dict[str, Any] = {
        field.name: read_only_copy(values)
        for field in fields(groove)
        if isinstance(values := getattr(groove, field.name), np.ndarray)
    }
    return replace(groove, chain=copy.deepcopy(groove.chain), tracks=copy.deepcopy(groove.tracks), **arrays)


def _least(rows: Iterable[Array]) -> Array:
    """Return the least of several arrays, (n,) or by wall (2, n), in each sector."""
    least: Array = np.vstack(list(rows)).min(axis=0)
    return least


def _greatest(rows: Iterable[Array]) -> Array:
    """Return the greatest of several arrays, (n,) or by wall (2, n), in each sector."""
    greatest: Array = np.vstack(list(rows)).max(axis=0)
    return greatest
